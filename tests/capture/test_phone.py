import json
import shutil
import ssl
import threading
import time
import urllib.error
import urllib.request

import numpy as np
import pytest
import soundfile

from vibecheck.capture.phone_takes import processing_words
from vibecheck.capture.sweep import plan_steps
from vibecheck.cli.phone_desk import PhoneDesk
from vibecheck.files.job import load_job, new_job
from vibecheck.files.job_check import check_job
from vibecheck.files.sweep import job_takes, load_sweep

uvicorn = pytest.importorskip("uvicorn", reason="the phone extra is not installed")
pytest.importorskip("starlette", reason="the phone extra is not installed")
pytest.importorskip("cryptography", reason="the phone extra is not installed")

OFF = {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}
CHART = [("A1", 720.0), ("A2", 1440.0)]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    from vibecheck.capture.phone_certificate import certificate

    return certificate(tmp_path_factory.mktemp("settings"), ["127.0.0.1"])


@pytest.fixture
def page(tmp_path, made):
    from vibecheck.capture.phone_server import application

    job = new_job(tmp_path / "job")
    desk = PhoneDesk(job=job, sweep_name="before", place="headstock",
                     steps=plan_steps(CHART, [("background", None)], seconds=2.0))  # fmt: skip
    server = uvicorn.Server(
        uvicorn.Config(
            application(desk, "secret"),
            host="127.0.0.1",
            port=0,
            log_level="critical",
            ssl_certfile=str(made[0]),
            ssl_keyfile=str(made[1]),
            ws="none",
        )
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield job, f"https://127.0.0.1:{port}/secret/", made[0]
    server.should_exit = True
    thread.join()


class Phone:
    """A browser that behaves, or not."""

    def __init__(self, base, crt):
        self.base, self.trust = base, ssl.create_default_context(cafile=str(crt))

    def send(self, path, body=None):
        data = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        request = urllib.request.Request(self.base + path, data=data)
        with urllib.request.urlopen(request, context=self.trust, timeout=10) as answer:
            return json.load(answer)

    def blocks(self, key, samples, size=24_000):
        pieces = [samples[at : at + size] for at in range(0, samples.size, size)]
        for number, piece in enumerate(pieces):
            self.send(f"take/{key}/block/{number}", piece.astype("<f4").tobytes())
        return len(pieces)


def hum(seconds=2.0):
    times = np.arange(int(seconds * 48_000)) / 48_000
    noise = np.random.default_rng(1).normal(0, 0.02, times.size)
    return (0.2 * np.sin(2 * np.pi * 480 * times) + noise).astype(np.float32)


def test_a_phone_records_a_take_over_https_and_hears_whether_it_is_good(page):
    job, base, crt = page
    phone = Phone(base, crt)
    shown = phone.send("overview")
    assert [step["title"] for step in shown["steps"]] == ["background", "A1", "A2"]
    assert any("guards stay on" in text for text in shown["cautions"])
    key = phone.send("take", {"step": 1, "rate_hz": 48_000, "settings": OFF})["take"]
    count = phone.blocks(key, hum())
    told = phone.send(f"take/{key}/end", {"blocks": count, "seconds": 2.0})
    assert told["weight"] == "good"
    assert phone.send(f"take/{key}/decide", {"keep": True}) == {"file": "A1.wav"}
    assert phone.send("overview")["steps"][1]["kept"]
    [take] = job_takes(load_job(job.folder), "before")
    assert np.array_equal(take.recording.channel(0), hum())
    assert take.position == "A1"
    assert take.recording.support.low_hz == 90.0
    assert take.recording.support.levels
    assert not [what for what in check_job(load_job(job.folder)) if "A1" in what]


def test_blocks_sent_twice_count_once_and_none_may_be_missing(page):
    job, base, crt = page
    phone, samples = Phone(base, crt), hum()
    key = phone.send("take", {"step": 1, "rate_hz": 48_000, "settings": OFF})["take"]
    first, second = samples[:48_000].tobytes(), samples[48_000:].tobytes()
    assert phone.send(f"take/{key}/block/0", first) == {"next": 1}
    assert phone.send(f"take/{key}/block/0", first) == {"next": 1}
    assert phone.send(f"take/{key}/block/2", second) == {"next": 1}
    assert phone.send(f"take/{key}/end", {"blocks": 2}) == {"next": 1}
    assert phone.send(f"take/{key}/block/1", second) == {"next": 2}
    phone.send(f"take/{key}/end", {"blocks": 2, "seconds": 2.0})
    phone.send(f"take/{key}/decide", {"keep": True})
    assert np.array_equal(job_takes(job, "before")[0].recording.channel(0), samples)


def test_processing_left_on_bars_levels_and_is_said(page):
    job, base, crt = page
    phone = Phone(base, crt)
    settings = {**OFF, "noiseSuppression": True}
    key = phone.send("take", {"step": 1, "rate_hz": 48_000, "settings": settings})["take"]
    told = phone.send(f"take/{key}/end", {"blocks": phone.blocks(key, hum()), "seconds": 2.0})
    assert "noise suppression" in told["remarks"][-1]["text"]
    phone.send(f"take/{key}/decide", {"keep": True})
    support = job_takes(job, "before")[0].recording.support
    assert not support.levels
    assert any("noise suppression" in why for why in support.reasons)


def test_a_take_done_again_is_set_aside_and_a_lost_phone_leaves_its_part(page):
    job, base, crt = page
    phone = Phone(base, crt)
    key = phone.send("take", {"step": 2, "rate_hz": 48_000, "settings": OFF})["take"]
    phone.send(f"take/{key}/end", {"blocks": phone.blocks(key, hum() * 0), "seconds": 2.0})
    phone.send(f"take/{key}/decide", {"keep": False})
    key = phone.send("take", {"step": 2, "rate_hz": 48_000, "settings": OFF})["take"]
    phone.blocks(key, hum(1.5))
    sweep = load_sweep(job, "before")
    assert (sweep.folder / "set aside/A2.wav").is_file()
    assert soundfile.info(sweep.folder / "A2_2.part").duration >= 1.0
    assert sweep.takes == ()


def test_a_file_from_the_phones_own_recorder_is_taken_too(page, tmp_path):
    job, base, crt = page
    soundfile.write(tmp_path / "memo.ogg", hum(), 48_000)
    phone = Phone(base, crt)
    told = phone.send("step/1/file?name=memo.ogg", (tmp_path / "memo.ogg").read_bytes())
    assert "A1.ogg kept. OGG" in told["said"]
    assert not job_takes(job, "before")[0].recording.support.levels
    with pytest.raises(urllib.error.HTTPError, match="409"):
        phone.send("step/1/file?name=memo.wav", b"no sound")
    assert [path.name for path in (job.folder / "sweeps/before").glob("A1*")] == ["A1.ogg"]


@pytest.mark.parametrize(
    ("path", "body"),
    [("take", {"step": 9, "rate_hz": 48_000}), ("take", {"step": 1, "rate_hz": 0}),
     ("take", {}), ("take/nobody/block/0", b"1234"), ("take", b"no json")],
)  # fmt: skip
def test_nonsense_is_refused_in_words(page, path, body):
    _, base, crt = page
    with pytest.raises(urllib.error.HTTPError) as error:
        Phone(base, crt).send(path, body)
    with error.value as answer:
        assert answer.code in (400, 409)
        assert json.load(answer)["error"]


def test_without_the_secret_there_is_nothing(page):
    _, base, crt = page
    with pytest.raises(urllib.error.HTTPError, match="404") as error:
        Phone(base.replace("secret", "guess"), crt).send("overview")
    error.value.close()


def test_the_certificate_is_kept_until_the_addresses_change(tmp_path):
    from vibecheck.capture.phone_certificate import certificate

    crt, key = certificate(tmp_path, ["127.0.0.1"])
    first = crt.read_bytes()
    assert key.stat().st_mode & 0o077 == 0
    assert certificate(tmp_path, ["127.0.0.1"])[0].read_bytes() == first
    assert certificate(tmp_path, ["127.0.0.1", "192.0.2.7"])[0].read_bytes() != first


def test_only_all_three_kinds_of_processing_off_is_off():
    assert processing_words(OFF) == "off"
    assert processing_words({"autoGainControl": False}) == "unknown"
    assert processing_words({**OFF, "autoGainControl": True}) == "automatic gain"


@pytest.fixture
def browser(tmp_path):
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("no Chromium here")
    times = np.arange(10 * 44_100) / 44_100
    tone = 0.3 * np.sin(2 * np.pi * 237 * times)
    soundfile.write(tmp_path / "heard.wav", tone, 44_100, subtype="PCM_16")
    with api.sync_playwright() as play:
        started = play.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--use-fake-ui-for-media-stream",
                  "--use-fake-device-for-media-stream",
                  f"--use-file-for-fake-audio-capture={tmp_path / 'heard.wav'}"],
        )  # fmt: skip
        yield started.new_page(ignore_https_errors=True, viewport={"width": 390, "height": 780})
        started.close()


def test_a_real_browser_records_what_its_microphone_hears(page, browser):
    job, base, _ = page
    browser.goto(base + "?countdown=0")
    browser.click("#agree")
    browser.click("text=A1")
    browser.click("#record")
    browser.wait_for_selector("#verdict:not([hidden])", timeout=20_000)
    browser.click("#keep")
    browser.wait_for_selector("text=A2:")
    assert browser.evaluate("document.documentElement.scrollWidth") <= 390
    [take] = job_takes(job, "before")
    samples = take.recording.channel(0)
    lines = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    assert np.argmax(lines) / take.recording.seconds == pytest.approx(237, abs=1)
    assert take.recording.seconds == pytest.approx(2.0, abs=0.01)
    assert take.conditions["processing"] == "off"


SHAKE = """setInterval(() => window.dispatchEvent(new DeviceMotionEvent("devicemotion", {
  accelerationIncludingGravity: { x: Math.sin(performance.now() / 1000 * 2 * Math.PI * 6), y: 0.1,
                                  z: 9.81 } })), 15)"""


def test_the_motion_sensor_goes_into_a_sweep_of_its_own(page, browser):
    job, base, _ = page
    browser.goto(base + "?countdown=0")
    browser.click("#agree")
    browser.click("text=A1")
    browser.evaluate(SHAKE)
    browser.click("#shake")
    browser.wait_for_selector("text=kept in the sweep 'before motion'", timeout=20_000)
    [take] = job_takes(load_job(job.folder), "before motion")
    recording = take.recording
    assert (take.position, recording.unit) == ("A1", "m/s^2")
    assert recording.support.aliased
    assert recording.support.low_hz == 0.0
    samples = recording.channel(0) - recording.channel(0).mean()
    lines = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 14))
    assert np.argmax(lines) * recording.rate_hz / (1 << 14) == pytest.approx(6.0, abs=0.3)
