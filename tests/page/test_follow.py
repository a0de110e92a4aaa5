"""The map of a printed page: every note at its time in the guide, and at its place as Poppler draws the PDF."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from obbligato.listen.songmap import GridFinding, SongMap
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.page.follow import follow
from obbligato.page.part import layout_pdf, part_layout
from obbligato.page.part_make import make_part
from obbligato.page.part_print import part_print
from obbligato.page.part_score import Heading

DPI = 150
# Exactly on the beats, so that the page as written has the times of the line as played; one note is tied over.
ONSETS = (20.0, 21.0, 22.0, 23.0, 24.0, 27.0, 52.0, 53.0, 54.0, 56.0, 88.0, 90.0)
LENGTHS = (1.0, 1.0, 1.0, 1.0, 2.0, 2.0, 1.0, 1.0, 2.0, 4.0, 2.0, 2.0)
LINE = Line(
    tuple(Note(onset, length, 62 + i % 7) for i, (onset, length) in enumerate(zip(ONSETS, LENGTHS, strict=True))),
    (Phrase(0, 0, 5), Phrase(1, 6, 9), Phrase(2, 10, 11)),
)


def drifting(song: SongMap) -> SongMap:
    """The same song by a band that speeds up: every beat a little shorter than the one before."""
    beats_s = 0.5 + np.concatenate([[0.0], np.cumsum(1.0 - 0.002 * np.arange(99))])
    times = tuple(float(s) for s in beats_s)
    moving = replace(song, tempo=replace(song.tempo, steady=False), grid=GridFinding(times[4], times, times[::4]))
    steady, grid = song.to_grid(), moving.to_grid()

    def moved(spans: Any) -> Any:
        ends = [(grid.beat_to_sec(steady.sec_to_beat([span.start_s, span.end_s])), span) for span in spans]
        return tuple(replace(span, start_s=float(a), end_s=float(b)) for (a, b), span in ends)

    return replace(moving, sections=moved(song.sections), chords=moved(song.chords), keys=moved(song.keys))


@pytest.fixture(params=["steady", "drifting"])
def followed(request: Any, song: SongMap, heading: Heading) -> tuple[SongMap, Any, Any, Any]:
    moving = drifting(song) if request.param == "drifting" else song
    part = make_part(LINE, moving, find_instrument("flugelhorn"), heading)
    layout = part_layout(part, how=part_print("large"))
    return moving, part, layout, follow(part, {"part.pdf": layout})


def rows(found: Any) -> Iterator[Any]:
    yield from found["files"][0]["rows"]


def test_every_note_has_the_time_it_has_in_the_guide(followed: Any) -> None:
    song, _, _, found = followed
    first_heads: dict[int, float] = {}
    for row in rows(found):
        for note in row["notes"]:
            first_heads.setdefault(note["note"], note["at_s"])
    expected = song.to_grid().beat_to_sec(list(ONSETS))
    # Times are rounded to a tenth of a millisecond.
    assert [first_heads[i] for i in range(len(ONSETS))] == pytest.approx(list(expected), abs=1e-4)


def test_bars_carry_their_beats_and_the_rests_their_count(followed: Any) -> None:
    song, _, _, found = followed
    assert [bar["number"] for bar in found["bars"]] == list(range(1, 25))
    beats = song.grid.beats_s
    for bar in found["bars"][:-1]:
        first = 4 + 4 * (bar["number"] - 1)
        assert bar["beats_s"] == pytest.approx(beats[first : first + 5], abs=1e-4)
    # Notes lie in bars 6 to 8, 14, 15 and 23; the bar before an entry stands alone, sections begin in 5, 13 and 17.
    assert found["rests"] == [
        {"first_bar": 1, "last_bar": 4, "bars": 4},
        {"first_bar": 9, "last_bar": 12, "bars": 4},
        {"first_bar": 17, "last_bar": 21, "bars": 5},
    ]
    shown = [bar for row in rows(found) for bar in row["bars"]]
    assert [bar["number"] for bar in shown if bar["bars"] > 1] == [1, 9, 17]
    assert sum(bar["bars"] for bar in shown) == 24


def test_the_marker_moves_on_in_time_and_across_each_row(followed: Any) -> None:
    _, part, _, found = followed
    before_s = -np.inf
    for row in rows(found):
        times, places = ([mark[key] for mark in row["marks"]] for key in ("at_s", "x_mm"))
        assert times == sorted(set(times))
        assert places == sorted(places)
        assert times[0] >= before_s
        before_s = times[-1]
        starts = [
            part.grid.bar_to_sec(n) for bar in row["bars"] for n in range(bar["number"], bar["number"] + bar["bars"])
        ]
        # Every bar has a mark at its beginning, each bar of a long rest too.
        assert all(min(abs(np.asarray(times) - start_s)) < 1e-3 for start_s in starts)
        for note in row["notes"]:
            bar = next(bar for bar in row["bars"] if bar["number"] == note["bar"])
            assert bar["left_mm"] < note["x_mm"] < bar["right_mm"]


@pytest.mark.skipif(not shutil.which("pdftoppm"), reason="Poppler is not here")
def test_a_note_is_drawn_where_the_map_says(followed: Any, tmp_path: Path) -> None:
    _, part, layout, found = followed
    (tmp_path / "part.pdf").write_bytes(layout_pdf(part, layout))
    command = ["pdftoppm", "-r", str(DPI), "-gray", tmp_path / "part.pdf", tmp_path / "page"]
    subprocess.run(command, check=True)
    pages = [read_pgm(file) for file in sorted(tmp_path.glob("page*.pgm"))]
    assert len(pages) == found["files"][0]["pages"]
    px = DPI / 25.4
    stave_mm = found["files"][0]["stave_mm"]
    # A black head is 1.18 spaces wide (SMuFL, noteheadBlack); its middle is inked over most of a space.
    middle_mm = 0.59 * stave_mm / 4
    checked = 0
    for row in rows(found):
        page = pages[row["page"] - 1] < 128
        top, bottom = (round((row["stave_y_mm"] + d) * px) for d in (-0.75 * stave_mm, 1.75 * stave_mm))
        space = stave_mm / 4 * px
        for note in row["notes"]:
            column = round((note["x_mm"] + middle_mm) * px)
            inked = longest_run(page[top:bottom, column])
            before = longest_run(page[top:bottom, round((note["x_mm"] - 0.35 * middle_mm) * px)])
            if LENGTHS[note["note"]] < 2.0:  # from two beats on, heads are open
                assert inked > 0.6 * space > before
                checked += 1
    assert checked >= 6


def longest_run(column: np.ndarray) -> int:
    """The longest stretch of ink in a column of pixels."""
    best = run = 0
    for ink in column:
        run = run + 1 if ink else 0
        best = max(best, run)
    return best


def read_pgm(file: Path) -> np.ndarray:
    magic, width, height, _ = file.read_bytes().split(maxsplit=4)[:4]
    assert magic == b"P5"
    size = int(width) * int(height)
    return np.frombuffer(file.read_bytes()[-size:], dtype=np.uint8).reshape(int(height), int(width))
