"""Rows of an engraved part on the sides of sheets, so that no page has to be turned while playing.

Sides one and two lie open side by side, then three and four: pages are turned after every second side. Where they end
is a shortest path over all ways to break the part: a turn wants three seconds of rest, sides want to be few and full.
The three seconds are common practice, no source.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from obbligato.page.documents import Paper
from obbligato.page.engrave import Row, engrave
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_print import PartPrint
from obbligato.page.part_rows import narrowest_row, row_starts, shown_bars
from obbligato.page.part_score import Part, ScoreBar

SIDES = 2
"""A part for one song lies open on a stand without a turn on one side, or two facing (common practice, no source)."""
TURN_S = 3.0

MARGIN_X_MM = 15.0
MARGIN_TOP_MM = 14.0
MARGIN_BOTTOM_MM = 17.0
_TITLE_MM, _LINE_MM, _RULE_MM = 13.0, 5.0, 2.0
_CHARACTER_MM, _SANS_CHARACTER_MM = 1.75, 2.0
"""Heights in the head, and the widths of a character in its lines, in the normal print."""
_GAP_STAVES, _WIDEST_GAP_STAVES = 0.625, 1.5
_BAD_TURN = 1.5
_NOT_FULL = 0.3
"""Costs against that of one more side, which is 1."""


@dataclass(frozen=True)
class PlacedRow:
    """A row on a side: its bars as shown, its drawing, and its top in mm below the margin."""

    row: Row
    bars: tuple[ScoreBar, ...]
    y_mm: float


@dataclass(frozen=True)
class Turn:
    """A page to turn after a side, counted from 1, and the rest there is for it, in seconds (infinite at an end)."""

    after_side: int
    rest_s: float

    @property
    def good(self) -> bool:
        """Whether there is time to turn."""
        return self.rest_s >= TURN_S


@dataclass(frozen=True)
class Layout:
    """A part laid out on sides: the sheet in mm, the height of the stave, the head of side one, rows, and turns.

    Attributes
    ----------
    stave_mm
        Less than asked for where a bar would not have room in a row.
    head_words
        Size of the words in the head against those of the normal print.
    """

    how: PartPrint
    paper: Paper
    sheet_mm: tuple[float, float]
    stave_mm: float
    head_mm: float
    head_words: float
    head_lines: tuple[str, ...]
    sides: tuple[tuple[PlacedRow, ...], ...]
    turns: tuple[Turn, ...]


def lay_out(part: Part, *, paper: Paper, how: PartPrint, head_lines: Sequence[str]) -> Layout:
    """Engrave a part and put its rows on sides.

    Parameters
    ----------
    head_lines
        What is said under the title, a line each where it fits.

    Raises
    ------
    InputError
        When there is no such sheet of paper, or the part cannot be engraved.
    """
    width_mm, height_mm = how.sheet_mm(paper)
    row_mm = width_mm - 2 * MARGIN_X_MM
    room_mm = height_mm - MARGIN_TOP_MM - MARGIN_BOTTOM_MM
    widest_mm = row_mm / (narrowest_row(part) * how.spread)
    rests = rests_before(part)
    tried = []
    for wanted_mm in how.staves_mm:
        stave_mm = min(wanted_mm, widest_mm)
        rows = _rows(part, row_mm, stave_mm, how)
        head = _head(head_lines, row_mm, how, room_mm - rows[0][0].height_mm)
        sides = _on_sides(rows, rests, room_mm, head[0], stave_mm)
        tried.append((stave_mm, head, sides))
        if len(sides) <= SIDES or _sides_full(sides, room_mm) > SIDES * (stave_mm / how.staves_mm[-1]) ** 2:
            break
    stave_mm, head, sides = tried[-1] if len(tried[-1][2]) <= SIDES else tried[0]
    turns = tuple(Turn(number, rests[sides[number][0].bars[0].number]) for number in range(SIDES, len(sides), SIDES))
    return Layout(
        how=how,
        paper=paper,
        sheet_mm=(width_mm, height_mm),
        stave_mm=stave_mm,
        head_mm=head[0],
        head_words=head[1],
        head_lines=tuple(head_lines),
        sides=tuple(map(tuple, sides)),
        turns=turns,
    )


def rests_before(part: Part) -> dict[int, float]:
    """By bar, the seconds without a note around its beginning; infinite before the first note and after the last."""
    beats, quarters = part.meter.beats_per_bar, part.meter.beat_quarters
    places = [
        ((one.number - 1) * beats + float(note.onset / quarters), float(note.quarters / quarters))
        for one in part.bars
        for note in one.notes
        if note.pitch is not None
    ]
    stops_s = part.grid.beat_to_sec([onset + length for onset, length in places])
    starts_s = part.grid.beat_to_sec([onset for onset, _ in places])
    rests = {}
    for bar in part.bars:
        following = bisect_left(places, ((bar.number - 1) * beats - 1e-9, 0.0))
        inside = 0 < following < len(places)
        rest_s = float(starts_s[following] - stops_s[following - 1]) if inside else math.inf
        rests[bar.number] = max(0.0, rest_s)
    return rests


def _sides_full(sides: Sequence[Sequence[PlacedRow]], room_mm: float) -> float:
    """How many sides the rows would fill without any air."""
    return sum(placed.row.height_mm for side in sides for placed in side) / room_mm


def _head(lines: Sequence[str], row_mm: float, how: PartPrint, room_mm: float) -> tuple[float, float]:
    """Height of the head in mm and size of its words: those of the print, or smaller so that a row stands below."""
    character_mm = _SANS_CHARACTER_MM if how.sans else _CHARACTER_MM
    words = how.words
    while True:
        count = sum(math.ceil(len(line) * character_mm * words / (0.8 * row_mm)) for line in lines)
        head_mm = (_TITLE_MM + _LINE_MM * count) * words + _RULE_MM
        if head_mm <= room_mm or words <= 1.0:
            return head_mm, words
        words = max(1.0, 0.9 * words)


def _rows(part: Part, width_mm: float, stave_mm: float, how: PartPrint) -> list[tuple[Row, tuple[ScoreBar, ...]]]:
    bars = shown_bars(part)
    firsts = row_starts(part, width_staves=width_mm / stave_mm / how.spread)
    musicxml = part_musicxml(part, row_starts=[bars[first].number for first in firsts])
    rows = engrave(musicxml, width_mm=width_mm, stave_height_mm=stave_mm, spread=how.spread, strokes=how.strokes)
    stops = [*firsts[1:], len(bars)]
    return [(row, bars[first:stop]) for row, first, stop in zip(rows, firsts, stops, strict=True)]


def _on_sides(
    rows: Sequence[tuple[Row, tuple[ScoreBar, ...]]],
    rests: Mapping[int, float],
    room_mm: float,
    head_mm: float,
    stave_mm: float,
) -> list[list[PlacedRow]]:
    gap_mm = _GAP_STAVES * stave_mm
    heights = [row.height_mm for row, _ in rows]
    rests_s = [rests[bars[0].number] for _, bars in rows]
    placed = []
    for index, (first, stop) in enumerate(_breaks(heights, rests_s, gap_mm, room_mm, head_mm)):
        top = head_mm if index == 0 else 0.0
        gaps = max(1, stop - first - 1)
        spare = (room_mm - top - sum(heights[first:stop])) / gaps
        gap = min(_WIDEST_GAP_STAVES * stave_mm, max(gap_mm, spare)) if stop - first > 1 else gap_mm
        side = []
        for row, bars in rows[first:stop]:
            side.append(PlacedRow(row, bars, top))
            top += row.height_mm + gap
        placed.append(side)
    return placed


def _breaks(
    heights: Sequence[float], rests: Sequence[float], gap_mm: float, room_mm: float, head_mm: float
) -> list[tuple[int, int]]:
    """First row and the row after the last of each side; `rests` are the seconds free before each row.

    A row taller than the side stands on one alone.
    """
    count = len(heights)
    paths: dict[tuple[int, int], tuple[float, list[tuple[int, int]]]] = {(0, 0): (0.0, [])}
    best: tuple[float, list[tuple[int, int]]] | None = None
    for side in range(count):
        top = head_mm if side == 0 else 0.0
        for first in range(side, count):
            if (side, first) not in paths:
                continue
            cost, path = paths.pop((side, first))
            used = top - gap_mm
            for stop in range(first + 1, count + 1):
                used += heights[stop - 1] + gap_mm
                if used > room_mm and stop - first > 1:
                    break
                here = cost + 1.0
                if stop < count:
                    here += _NOT_FULL * max(0.0, 1.0 - used / room_mm) ** 2
                    here += _turn_cost(rests[stop]) if (side + 1) % SIDES == 0 else 0.0
                found = (here, [*path, (first, stop)])
                if stop == count:
                    best = found if best is None or here < best[0] else best
                elif (side + 1, stop) not in paths or here < paths[side + 1, stop][0]:
                    paths[side + 1, stop] = found
    return best[1] if best else []


def _turn_cost(rest_s: float) -> float:
    return _BAD_TURN * max(0.0, 1.0 - rest_s / TURN_S) + (0.2 if rest_s < TURN_S else 0.0)
