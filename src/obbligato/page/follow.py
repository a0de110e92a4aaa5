"""Following the page: where on paper each bar and note of a part is, and when it sounds in the guide.

Times come from the song's grid, so they hold for steady and for drifting songs alike; they are those of the page as
written. A marker that moves straight from mark to mark meets each note as it is due.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np

from obbligato.music.grid import Grid
from obbligato.page.located import RowBar, row_bars
from obbligato.page.part_pages import MARGIN_TOP_MM, MARGIN_X_MM, Layout, PlacedRow
from obbligato.page.part_score import Part

FORMAT_VERSION = 1


@dataclass(frozen=True)
class Mark:
    """The marker stands at `x` of its row at `at_s` on the guide's time, and moves straight to the next mark."""

    at_s: float
    x: float


def row_marks(bars: Sequence[RowBar], grid: Grid) -> tuple[Mark, ...]:
    """Where the marker stands when: at the head of each bar's music, at each symbol, and at the end of the row.

    A rest of several bars has a mark for each of them.
    """
    beats_per_bar = grid.meter.beats_per_bar
    places: list[tuple[float, float]] = []
    for bar in bars:
        start = (bar.number - 1) * beats_per_bar
        left = bar.symbols[0].x if bar.symbols else bar.music_left
        width = (bar.right - left) / bar.bars
        places += [(start + index * beats_per_bar, left + index * width) for index in range(bar.bars)]
        places += [(symbol.beat, symbol.x) for symbol in bar.symbols if symbol.beat > start]
    last = bars[-1]
    places.append(((last.number + last.bars - 1) * beats_per_bar, last.right))
    seconds = grid.beat_to_sec([beat for beat, _ in places])
    return tuple(Mark(float(s), x) for s, (_, x) in zip(seconds, places, strict=True))


def follow(part: Part, layouts: Mapping[str, Layout]) -> dict[str, Any]:
    """The map of a part's printed pages, as plain JSON values; docs/page.md says what each key holds.

    Parameters
    ----------
    layouts
        By the name of each PDF, where everything lies in it.
    """
    heading = part.heading
    return {
        "format_version": FORMAT_VERSION,
        "title": heading.title,
        "instrument": part.instrument.name,
        "version": heading.version,
        "guide_sha256": heading.guide_sha256,
        "meter": str(part.meter),
        "bars": [_bar_times(part, number) for number in (bar.number for bar in part.bars)],
        "rests": [
            {"first_bar": bar.number, "last_bar": bar.number + bar.rest_bars - 1, "bars": bar.rest_bars}
            for bar in part.bars
            if bar.rest_bars
        ],
        "files": [_file(part, name, layout) for name, layout in layouts.items()],
    }


def _bar_times(part: Part, number: int) -> dict[str, Any]:
    beats = part.meter.beats_per_bar
    times = part.grid.beat_to_sec(np.arange((number - 1) * beats, number * beats + 1))
    return {"number": number, "beats_s": [round(float(s), 4) for s in times]}


def _file(part: Part, name: str, layout: Layout) -> dict[str, Any]:
    rows = [
        _row(part, placed, side=side, index=index)
        for side, placed_rows in enumerate(layout.sides, start=1)
        for index, placed in enumerate(placed_rows, start=1)
    ]
    width, height = layout.sheet_mm
    return {
        "file": name,
        "width_mm": width,
        "height_mm": height,
        "stave_mm": layout.stave_mm,
        "pages": len(layout.sides),
        "turns": [
            {"after_page": turn.after_side, "rest_s": round(turn.rest_s, 2) if np.isfinite(turn.rest_s) else None}
            for turn in layout.turns
        ],
        "rows": rows,
    }


def _row(part: Part, placed: PlacedRow, *, side: int, index: int) -> dict[str, Any]:
    row = placed.row
    bars = row_bars(ET.fromstring(row.svg), row.width_mm, placed.bars, part)
    top = MARGIN_TOP_MM + placed.y_mm
    symbols = [(bar.number, symbol) for bar in bars for symbol in bar.symbols if symbol.note is not None]
    seconds = part.grid.beat_to_sec([symbol.beat for _, symbol in symbols])
    return {
        "page": side,
        "row": index,
        "x_mm": MARGIN_X_MM,
        "y_mm": round(top, 2),
        "width_mm": row.width_mm,
        "height_mm": round(row.height_mm, 2),
        "stave_y_mm": round(top + row.stave_y_mm, 2),
        "bars": [
            {"number": bar.number, "bars": bar.bars, "left_mm": _across(bar.left), "right_mm": _across(bar.right)}
            for bar in bars
        ],
        "notes": [
            {"note": symbol.note, "bar": bar, "at_s": round(float(at_s), 4), "x_mm": _across(symbol.x)}
            for (bar, symbol), at_s in zip(symbols, seconds, strict=True)
        ],
        "marks": [{"at_s": round(mark.at_s, 4), "x_mm": _across(mark.x)} for mark in row_marks(bars, part.grid)],
    }


def _across(x_mm: float) -> float:
    return round(MARGIN_X_MM + x_mm, 2)
