"""The page as a PDF, read back by Poppler; what is drawn is checked against what was asked for."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from obbligato.errors import InputError
from obbligato.music.spelling import Spelling
from obbligato.page.engrave import engrave, glyph_svg
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part import part_pdf, with_signs
from obbligato.page.part_rows import row_starts, shown_bars
from obbligato.page.part_score import Part, ScoreBar, ScoreNote

needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="Poppler's pdftotext is not here")


def text_of(pdf: bytes, folder: Path) -> str:
    path = folder / "part.pdf"
    path.write_bytes(pdf)
    return subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True, text=True).stdout


def long_page(page: Part, bars: int) -> Part:
    """A page of quarter notes, eight bars to a section."""
    notes = tuple(ScoreNote(Fraction(3, 2) * i, Fraction(3, 2), Spelling("G", 0, 4)) for i in range(4))
    made = [
        ScoreBar(n, notes, rehearsal="ABCDEFGH"[(n - 1) // 8 % 8] if n % 8 == 1 else "") for n in range(1, bars + 1)
    ]
    return replace(page, bars=tuple(made))


@needs_poppler
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_head_and_foot_say_what_a_player_must_know(page: Part, paper: Any, tmp_path: Path) -> None:
    text = " ".join(text_of(part_pdf(page, paper=paper), tmp_path).split())
    for words in (
        "Night Ferry",
        "Flugelhorn in B♭",
        "Jo Quill",
        "Written pitch: it sounds a major second lower than written.",
        "Your first written note is E4; on the guide it sounds as D4.",
        "Bar 1 is at 0:04.500 of the guide.",
        "version 2 · guide 0123456789ab · 2026-11-25",
        "page 1 of 1",
        "= 58.5",
        "Fmaj7",
        "Dm7♭5/A♭",
    ):
        assert words in text


@needs_poppler
def test_every_row_carries_the_number_of_its_first_bar(page: Part, tmp_path: Path) -> None:
    part = long_page(page, 40)
    text = text_of(part_pdf(part), tmp_path)
    numbers = [int(n) for n in re.findall(r"^[\f ]{0,3}(\d+)(?= |$)", text, flags=re.MULTILINE)]
    width_staves = (210 - 30) / 7.2
    assert numbers == [shown_bars(part)[i].number for i in row_starts(part, width_staves=width_staves)]
    assert {1, 9, 17, 25, 33} <= set(numbers)


@needs_poppler
def test_a_whole_song_fits_two_sides(page: Part, tmp_path: Path) -> None:
    assert "page 1 of 2" in " ".join(text_of(part_pdf(long_page(page, 80)), tmp_path).split())


def test_rows_begin_with_sections_and_cover_every_bar_once(page: Part) -> None:
    part = long_page(page, 64)
    starts = row_starts(part, width_staves=25.0)
    assert starts[0] == 0
    assert list(starts) == sorted(set(starts))
    bars = shown_bars(part)
    assert all(index in starts for index, bar in enumerate(bars) if bar.rehearsal)


def test_a_multi_bar_rest_takes_the_room_of_one_bar(page: Part) -> None:
    assert [bar.number for bar in shown_bars(page)] == [0, 1, 2, 3, 8, 9, 10]


def test_rows_are_drawn_without_text_and_with_every_word_in_place(page: Part) -> None:
    rows = engrave(part_musicxml(page, row_starts=(1, 9)), width_mm=180.0)
    assert len(rows) == 3
    for row in rows:
        assert "<text" not in row.svg
        # The stave is 7.2 mm high and lies inside its row, and so does every word.
        assert 0 <= row.stave_y_mm <= row.height_mm - 7.2
        assert all(0 <= label.x_mm <= row.width_mm and 0 <= label.y_mm <= row.height_mm for label in row.labels)
    letters = [label.runs[0].text for row in rows for label in row.labels if label.kind == "reh"]
    assert letters == ["A", "B"]
    below = [label.runs[0].text for row in rows for label in row.labels if label.kind == "dir"]
    assert below == ["3–7"]


def test_each_pitch_sits_on_its_line(page: Part) -> None:
    # Treble clef (any primer): E4 on the lowest line, F5 on the highest, half a space for each step between.
    notes = tuple(
        ScoreNote(Fraction(3, 2) * i, Fraction(3, 2), Spelling(name[0], 0, int(name[1])))
        for i, name in enumerate(("E4", "G4", "B4", "F5"))
    )
    (row,) = engrave(part_musicxml(replace(page, bars=(ScoreBar(1, notes),))), width_mm=180.0)
    heads = re.findall(r'href="#E0A4-\w+" transform="translate\(\d+, (\d+)\)', row.svg)
    lines = sorted({int(y) for y in re.findall(r'd="M\d+ (\d+) L\d+ \1" stroke-width="\d+"', row.svg)})
    assert len(lines) == 5
    assert [int(y) for y in heads] == [lines[4], lines[3], lines[2], lines[0]]


def test_same_part_same_bytes(page: Part) -> None:
    assert part_pdf(page) == part_pdf(page)


def test_an_unknown_paper_is_refused(page: Part) -> None:
    with pytest.raises(InputError, match="choose a4 or letter"):
        part_pdf(page, paper="a3")  # type: ignore[arg-type]


@needs_poppler
def test_any_title_arrives_as_it_is(page: Part, tmp_path: Path) -> None:
    title = 'A #1 $ong [in] "quotes" \\ with *stars*'
    awkward = replace(page, heading=replace(page.heading, title=title))
    assert title in " ".join(text_of(part_pdf(awkward), tmp_path).split())
    assert title.replace('"', "&quot;") in part_musicxml(awkward) or title in part_musicxml(awkward)


def test_what_cannot_be_engraved_is_refused() -> None:
    with pytest.raises(InputError, match="could not be engraved"):
        engrave("<score-partwise/>", width_mm=180.0)
    with pytest.raises(InputError, match=r"U\+E999"):
        glyph_svg("\ue999")


@pytest.mark.parametrize(
    ("plain", "signed"),
    [("Flugelhorn in Bb", "Flugelhorn in B♭"), ("F#4 and Eb5", "F♯4 and E♭5"), ("A Bad Ebb", "A Bad Ebb")],
)
def test_flats_and_sharps_in_words(plain: str, signed: str) -> None:
    assert with_signs(plain) == signed
