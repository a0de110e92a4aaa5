"""Large and low-vision print, and page turns; sizes, fonts and ground read back by Poppler and from the drawing."""

from __future__ import annotations

import itertools
import math
import random
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
from obbligato.page.engrave import engrave
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part import part_layout, part_pdf
from obbligato.page.part_pages import TURN_S, rests_before
from obbligato.page.part_print import PRINTS, part_print
from obbligato.page.part_score import Part, ScoreBar, ScoreNote

needs_poppler = pytest.mark.skipif(not shutil.which("pdftoppm"), reason="Poppler is not here")
BEAT = Fraction(3, 2)
PLAYED = tuple(ScoreNote(BEAT * i, BEAT, Spelling("G", 0, 4)) for i in range(4))


def poppler(tool: str, pdf: bytes, folder: Path, *options: str) -> bytes:
    path = folder / "part.pdf"
    path.write_bytes(pdf)
    last = ["-"] if tool == "pdftotext" else []
    return subprocess.run([tool, *options, path, *last], check=True, capture_output=True).stdout


def playing(page: Part, bars: int, rests: set[int]) -> Part:
    """Bars full of notes, but for those that rest; a bar is 6.2 s long."""
    return replace(page, bars=tuple(ScoreBar(n, () if n in rests else PLAYED) for n in range(1, bars + 1)))


@pytest.mark.parametrize("stave_mm", [5.0, 7.2, 10.0, 14.0, 30.0])
def test_a_stave_is_as_high_as_asked(page: Part, stave_mm: float) -> None:
    (row, *_) = engrave(part_musicxml(page, row_starts=(1, 2, 9)), width_mm=180.0, stave_height_mm=stave_mm)
    lines = sorted({int(y) for y in re.findall(r'd="M\d+ (\d+) L\d+ \1" stroke-width="\d+"', row.svg)})
    assert len(lines) == 5
    units_wide = float(re.findall(r'viewBox="0 0 (\d+)', row.svg)[0])
    # A unit of the drawing is a tenth of a pixel; the engraver rounds lines to whole units.
    assert (lines[-1] - lines[0]) * row.width_mm / units_wide == pytest.approx(stave_mm, rel=0.01)


def test_strokes_are_thicker_for_low_vision(page: Part) -> None:
    thin, thick = (
        engrave(part_musicxml(page, row_starts=(1, 9)), width_mm=180.0, strokes=how.strokes)[0].svg
        for how in (PRINTS["normal"], PRINTS["low-vision"])
    )
    widths = [int(re.findall(r'd="M\d+ (\d+) L\d+ \1" stroke-width="(\d+)"', svg)[0][1]) for svg in (thin, thick)]
    assert widths[1] > 1.4 * widths[0]


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "landscape", "points"),
    [
        # ISO 216 A4 and ANSI/ASME Y14.1 A (US Letter), in points of 1/72 inch, by arithmetic.
        ("a4", False, (595.3, 841.9)),
        ("a4", True, (841.9, 595.3)),
        ("letter", False, (612.0, 792.0)),
        ("letter", True, (792.0, 612.0)),
    ],
)
def test_the_sheet_lies_as_asked(page: Part, tmp_path: Path, paper: Any, landscape: bool, points: Any) -> None:
    pdf = part_pdf(page, paper=paper, how=part_print("low-vision", landscape=landscape))
    size = re.findall(rb"Page size:\s+([\d.]+) x ([\d.]+)", poppler("pdfinfo", pdf, tmp_path))[0]
    assert tuple(map(float, size)) == pytest.approx(points, abs=0.5)


@needs_poppler
def test_words_for_low_vision_are_bold_and_sans(page: Part, tmp_path: Path) -> None:
    fonts = poppler("pdffonts", part_pdf(page, how=part_print("low-vision")), tmp_path).decode()
    assert "SourceSansPro-Bold" in fonts
    assert "Libertinus" not in fonts
    assert "Libertinus" in poppler("pdffonts", part_pdf(page), tmp_path).decode()


@needs_poppler
@pytest.mark.parametrize("tinted", [False, True])
def test_the_ground_is_off_white_only_if_asked(page: Part, tmp_path: Path, tinted: bool) -> None:
    ppm = poppler("pdftoppm", part_pdf(page, how=part_print(tinted=tinted)), tmp_path, "-r", "10", "-singlefile")
    corner = tuple(ppm[-3:])
    assert (corner == (255, 255, 255)) is not tinted
    # Still bright: contrast with black by WCAG 2.2 is far above 7 to 1.
    assert min(corner) > 200


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("stave_mm", [5.0, 14.0, 22.0, 30.0])
def test_every_row_lies_inside_its_side_and_every_bar_has_room(page: Part, stave_mm: float, landscape: bool) -> None:
    eighths = tuple(ScoreNote(Fraction(i, 2), Fraction(1, 2), Spelling("G", 1, 4)) for i in range(12))
    part = replace(page, bars=tuple(ScoreBar(n, eighths, rehearsal="A" if n == 1 else "") for n in range(1, 9)))
    layout = part_layout(part, paper="letter", how=part_print("low-vision", stave_mm=stave_mm, landscape=landscape))
    assert layout.stave_mm <= stave_mm
    room_mm = layout.sheet_mm[1] - 14.0 - 17.0
    for number, side in enumerate(layout.sides):
        bottoms = [layout.head_mm * (number == 0), *(placed.y_mm + placed.row.height_mm for placed in side)]
        for placed, above_mm in zip(side, bottoms, strict=False):
            assert placed.y_mm >= above_mm
        assert bottoms[-1] <= room_mm + 1e-6  # rounding of sums
        for placed in side:
            # A black head is 1.18 spaces wide (SMuFL, noteheadBlack); heads next to each other must not touch.
            units_per_space = 180.0
            heads = [int(x) for x in re.findall(r'href="#E0A4-\w+" transform="translate\((\d+),', placed.row.svg)]
            assert min(b - a for a, b in itertools.pairwise(heads)) > 1.18 * units_per_space


def test_a_print_out_of_bounds_is_refused() -> None:
    with pytest.raises(InputError, match="choose one of normal, large, low-vision"):
        part_print("huge")  # type: ignore[arg-type]
    for stave_mm in (4.9, 31.0, math.nan):
        with pytest.raises(InputError, match="give 5 to 30 mm"):
            part_print(stave_mm=stave_mm)


def test_rests_at_bar_lines_are_those_of_the_guide(page: Part) -> None:
    # A beat is 60 / 58.5 s; bars 3 and 4 rest, so eight beats lie around the beginnings of bars 4 and 5.
    rests = rests_before(playing(page, 8, {3, 4}))
    eight_beats_s = 8 * 60.0 / 58.5
    assert rests == pytest.approx(
        {1: math.inf, 2: 0.0, 3: eight_beats_s, 4: eight_beats_s, 5: eight_beats_s, 6: 0.0, 7: 0.0, 8: 0.0}
    )


@pytest.mark.parametrize("seed", range(6))
def test_a_page_is_turned_in_a_rest_wherever_one_allows_it(page: Part, seed: int) -> None:
    # By brute force over all ways to break the same rows: if any way that is at most one side longer has time to
    # turn everywhere, the layout has.
    rng = random.Random(seed)
    part = playing(page, 44, {rng.randrange(12, 36) for _ in range(2)})
    layout = part_layout(part, how=part_print("low-vision", landscape=True))
    rows = [placed for side in layout.sides for placed in side]
    assert len(layout.turns) == (len(layout.sides) - 1) // 2
    rests = rests_before(part)
    room = layout.sheet_mm[1] - 14.0 - 17.0
    gap = 0.625 * layout.stave_mm

    def fits(first: int, stop: int) -> bool:
        used = sum(row.row.height_mm + gap for row in rows[first:stop]) - gap
        return stop - first == 1 or used + (layout.head_mm if first == 0 else 0.0) <= room

    def good(ends: tuple[int, ...]) -> bool:
        bounds = (0, *ends, len(rows))
        turned = bounds[2:-1:2]
        return all(fits(a, b) for a, b in itertools.pairwise(bounds)) and all(
            rests[rows[row].bars[0].number] >= TURN_S for row in turned
        )

    possible = any(
        good(ends)
        for sides in range(3, len(layout.sides) + 1)
        for ends in itertools.combinations(range(1, len(rows)), sides - 1)
    )
    if possible:
        assert all(turn.good for turn in layout.turns)
    for turn in layout.turns:
        assert turn.rest_s == rests[layout.sides[turn.after_side][0].bars[0].number]


@needs_poppler
def test_the_foot_says_when_to_turn(page: Part, tmp_path: Path) -> None:
    how = part_print("low-vision")
    bars = {18, 19}
    words = poppler("pdftotext", part_pdf(playing(page, 36, bars), how=how), tmp_path, "-layout").decode()
    layout = part_layout(playing(page, 36, bars), how=how)
    assert layout.turns
    for turn in layout.turns:
        said = f"turn: {math.floor(turn.rest_s)} s rest" if turn.good else "no time to turn"
        assert f"{said} · page {turn.after_side} of {len(layout.sides)}" in " ".join(words.split())
