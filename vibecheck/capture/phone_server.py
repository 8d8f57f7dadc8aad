"""The small server a phone's browser talks to: one page, numbered blocks, a verdict back."""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import AsyncIterator, Callable, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Protocol

from vibecheck.capture.check import Judgement
from vibecheck.capture.phone_takes import MOST_BLOCK_BYTES, PhoneTake, begun
from vibecheck.errors import DeviceError, UsageError, VibecheckError

INSTALL = "Install the phone extra: 'pip install vibecheck[phone]'."
MOST_FILE_BYTES = 2_000_000_000


class Desk(Protocol):
    """Where takes go: what the page shows, and what becomes of a finished take."""

    def overview(self) -> Mapping[str, Any]:
        """Job, cautions and steps with their status, as JSON."""

    def new_path(self, step: int) -> Path:
        """A free path for a take of this step."""

    def judged(self, step: int, path: Path, take: PhoneTake) -> Judgement:
        """What is to be said of a finished take."""

    def decided(self, step: int, path: Path, take: PhoneTake, judgement: Judgement,
                keep: bool) -> str:  # fmt: skip
        """Keep a take or set it aside; gives its file name."""

    def uploaded(self, step: int, path: Path) -> str:
        """Take in a file recorded by another app; gives what is to be said of it."""


def page_text() -> str:
    """The page, as sent to the phone."""
    return (resources.files("vibecheck.capture") / "phone.html").read_text(encoding="utf-8")


def application(desk: Desk, secret: str) -> Any:
    """The web application; every address begins with ``/secret/``."""
    try:
        from starlette.applications import Starlette
        from starlette.requests import Request
        from starlette.responses import HTMLResponse, JSONResponse
        from starlette.routing import Route
    except ImportError:
        raise DeviceError("the Python package starlette is missing", INSTALL) from None
    counter = _Counter(desk)

    async def page(request: Request) -> Any:
        return HTMLResponse(page_text(), headers={"Cache-Control": "no-store"})

    async def overview(request: Request) -> Any:
        return JSONResponse(dict(desk.overview()))

    def answered(work: Callable[[Request, bytes], Any]) -> Any:
        async def answer(request: Request) -> Any:
            limit = MOST_FILE_BYTES if request.url.path.endswith("/file") else MOST_BLOCK_BYTES
            try:
                return JSONResponse(work(request, await _body(request, limit)))
            except VibecheckError as error:
                return JSONResponse({"error": error.text}, status_code=409)
            except (ValueError, KeyError, TypeError) as error:
                return JSONResponse({"error": f"not understood ({error})"}, status_code=400)

        return answer

    def begin(request: Request, body: bytes) -> Any:
        return counter.begin(json.loads(body))

    def block(request: Request, body: bytes) -> Any:
        return counter.block(request.path_params["take"], request.path_params["number"], body)

    def end(request: Request, body: bytes) -> Any:
        return counter.end(request.path_params["take"], json.loads(body))

    def decide(request: Request, body: bytes) -> Any:
        return counter.decide(request.path_params["take"], bool(json.loads(body)["keep"]))

    def file(request: Request, body: bytes) -> Any:
        return counter.file(request.path_params["step"], request.query_params["name"], body)

    @contextlib.asynccontextmanager
    async def lifespan(app: Any) -> AsyncIterator[None]:
        yield
        counter.close()

    base = f"/{secret}"
    return Starlette(
        lifespan=lifespan,
        routes=[
            Route(f"{base}/", page),
            Route(f"{base}/overview", overview),
            Route(f"{base}/take", answered(begin), methods=["POST"]),
            Route(f"{base}/take/{{take}}/block/{{number:int}}", answered(block), methods=["POST"]),
            Route(f"{base}/take/{{take}}/end", answered(end), methods=["POST"]),
            Route(f"{base}/take/{{take}}/decide", answered(decide), methods=["POST"]),
            Route(f"{base}/step/{{step:int}}/file", answered(file), methods=["POST"]),
        ],
    )


async def _body(request: Any, limit: int) -> bytes:
    parts, size = [], 0
    async for part in request.stream():
        size += len(part)
        if size > limit:
            raise UsageError("too much at once", "Send a shorter recording.")
        parts.append(part)
    return b"".join(parts)


class _Counter:
    """The takes that are open, by the key their phone was given."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._open: dict[str, PhoneTake] = {}
        self._judged: dict[str, Judgement] = {}

    def begin(self, told: Mapping[str, Any]) -> dict[str, Any]:
        step = int(told["step"])
        take = begun(self._desk.new_path(step), told, step)
        key = secrets.token_hex(8)
        self._open[key] = take
        return {"take": key, "next": 0}

    def block(self, key: str, number: int, body: bytes) -> dict[str, Any]:
        try:
            return {"next": self._take(key).add(number, body)}
        except OSError as error:
            raise DeviceError(f"the disk fails ({error.strerror})", "Make room.") from None

    def end(self, key: str, told: Mapping[str, Any]) -> dict[str, Any]:
        take = self._take(key)
        if take.next_block != int(told["blocks"]):
            return {"next": take.next_block}
        if key not in self._judged:
            take.seconds_wanted = float(told.get("seconds", 0.0))
            take.facts["lost_s"] = max(float(told.get("lost_s", 0.0)), 0.0)
            take.stream.close()
            self._judged[key] = self._desk.judged(take.step, take.stream.path, take)
        judgement = self._judged[key]
        remarks = [{"weight": one.weight, "text": one.text} for one in judgement.remarks]
        return {"weight": judgement.weight, "remarks": remarks}

    def decide(self, key: str, keep: bool) -> dict[str, Any]:
        take = self._take(key)
        if key not in self._judged:
            raise UsageError("the take has not ended", "Stop it first.")
        name = self._desk.decided(take.step, take.stream.path, take, self._judged[key], keep)
        del self._open[key], self._judged[key]
        return {"file": name}

    def file(self, step: int, name: str, body: bytes) -> dict[str, Any]:
        suffix = Path(name).suffix.lower()[:8]
        path = self._desk.new_path(step).with_suffix(suffix or ".wav")
        with path.open("xb") as file:
            file.write(body)
        try:
            return {"said": self._desk.uploaded(step, path)}
        except VibecheckError:
            path.unlink(missing_ok=True)
            raise

    def close(self) -> None:
        """Leave what came of takes that never ended, for the next session to offer."""
        for take in self._open.values():
            if not take.stream.file.closed:
                take.stream.close()

    def _take(self, key: str) -> PhoneTake:
        if key not in self._open:
            raise UsageError("this take is not known here", "Reload the page.")
        return self._open[key]
