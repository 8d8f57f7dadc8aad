from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from vibecheck.report.page import FileLine, Listening, Record, to_page
from vibecheck.report.page_tables import Table, table
from vibecheck.report.pictures import Picture, pictures_of

VOID = {"meta", "br", "hr", "img", "input", "link", "source"}


class Checker(HTMLParser):
    """Keeps the open elements and the ids, and complains about crossed ones."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.heads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value or "" for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value or "" for name, value in attrs if name == "id"]

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag


def checked(page: str) -> Checker:
    checker = Checker()
    checker.feed(page)
    assert checker.open == []
    return checker


@pytest.fixture
def full_page(made, machine) -> str:
    diagnosis = made["broken_tooth"]
    return to_page(
        diagnosis,
        machine,
        pictures=pictures_of(diagnosis, machine),
        record=Record(
            about={"Made by": "the shop", "Empty": ""},
            complaint="Knocks in <low> & worse",
            files=(
                FileLine(name="a.wav", position="A1", seconds=40, rate_hz=48000, sha256="ab12"),
            ),
        ),
        cautions=("Guards stay on.",),
        sounds=(Listening(title="The knock, slowed", wav_base64="UklGRg=="),),
    )


def test_a_page_is_well_formed_and_its_ids_are_its_own(full_page) -> None:
    ids = checked(full_page).ids
    assert len(ids) == len(set(ids))


def test_every_reference_inside_a_page_has_its_target(full_page) -> None:
    ids = set(checked(full_page).ids)
    assert set(re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', full_page))
    for pair in re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', full_page):
        assert (pair[0] or pair[1]) in ids


def test_a_page_loads_nothing_from_anywhere(full_page) -> None:
    without_names = re.sub(r'xmlns(:\w+)?="[^"]*"', "", full_page)
    assert not re.search(r"https?:|//[a-z]|@import|src=\"(?!data:)", without_names)


def test_what_a_person_typed_is_escaped(full_page) -> None:
    assert "Knocks in &lt;low&gt; &amp; worse" in full_page
    assert "<low>" not in full_page


def test_every_picture_has_its_numbers_as_a_table(full_page, made, machine) -> None:
    pictures = pictures_of(made["broken_tooth"], machine)
    assert len(pictures) == 2
    for picture in pictures:
        assert picture.numbers.rows
        assert f'<p class="cap">{picture.numbers.caption}</p>' in full_page
        assert 'role="img" aria-label="' in picture.svg


def test_colours_of_pictures_follow_the_page_into_the_dark(full_page) -> None:
    drawings = "".join(re.findall(r"<svg.*?</svg>", full_page, flags=re.S))
    assert "var(--suspect)" in drawings
    assert not re.findall(r"#[0-9a-f]{6}\b", drawings)


def test_a_page_without_pictures_or_record_stands(made) -> None:
    for diagnosis in made.values():
        checked(to_page(diagnosis))


def test_the_first_words_of_a_page_are_the_verdict(full_page) -> None:
    body = re.sub(r"<[^>]+>", " ", full_page[full_page.index("<body>") :])
    assert " ".join(body.split()).startswith(
        "12-speed engine lathe (invented) The 62-tooth gear on shaft III has a broken or damaged"
    )


def test_a_healthy_page_accuses_nobody(made, machine) -> None:
    page = to_page(made["healthy"], machine)
    assert "No fault is shown by these takes." in page
    assert 'class="finding"' not in page


def test_a_name_with_markup_in_it_does_no_harm(made) -> None:
    diagnosis = replace(made["healthy"], machine="<script>alert(1)</script>")
    assert "<script" not in to_page(diagnosis)


def test_a_table_marks_the_suspects_row() -> None:
    made = table(Table(caption="c", heads=("a",), rows=(("1",), ("2",)), named=frozenset({1})))
    assert "<tr><td>1</td></tr><tr class=named><td>2</td></tr>" in made


def test_a_picture_is_a_value(made, machine) -> None:
    assert all(isinstance(p, Picture) for p in pictures_of(made["healthy"], machine))
