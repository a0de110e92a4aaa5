"""The line engraved row by row, as the chart and the page for writing show it."""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import Annotated

from pydantic import BaseModel, Field

from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder, fingerprint
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import Instrument
from obbligato.music.line import Line
from obbligato.page import staves
from obbligato.page.chart import chart_bars, rows_of_bars

Pitch = staves.Pitch
DRAWING = 5
"""Grows whenever the same line is drawn otherwise."""


class BarsPerRow(IntEnum):
    """Bars in a full row of the chart."""

    TWO = 2
    FOUR = 4
    EIGHT = 8


class StaveNoteView(BaseModel):
    """A head: the note's index in the line, and the middle of the head in the drawing's units."""

    index: int
    x: float
    y: float


class StaveRowView(BaseModel):
    """A row of the line: its bars, the drawing, and where in it bars and notes are."""

    first_bar: int
    last_bar: int
    svg: str
    width: float
    height: float
    bars_x: list[float]
    stave_y: float
    notes: list[StaveNoteView]


class StavesView(BaseModel):
    """The rows in which the line plays; the rest have no stave. `stave_units` is the height of its five lines."""

    version: Annotated[int, Field(ge=0)]
    pitch: Pitch
    per_row: BarsPerRow
    stave_units: int
    rows: list[StaveRowView]


def staves_view(folder: JobFolder, *, per_row: BarsPerRow = BarsPerRow.FOUR, pitch: Pitch = "written") -> StavesView:
    """The newest line in rows of the chart; engraved once and kept."""
    key = f"staves-{fingerprint(DRAWING, line_key(folder), folder.job.instrument, int(per_row), pitch)}.json"
    kept = folder.cached(key)
    if kept is not None:
        return StavesView.model_validate_json(kept)
    if not folder.job.lines:
        return StavesView(version=0, pitch=pitch, per_row=per_row, stave_units=staves.STAVE_UNITS, rows=[])
    placed = current_line(folder)
    rows = engrave_rows(placed.line, song_map(folder), instrument_of(folder), per_row=per_row, pitch=pitch)
    view = StavesView(
        version=placed.version.version, pitch=pitch, per_row=per_row, stave_units=staves.STAVE_UNITS, rows=rows
    )
    folder.keep(key, view.model_dump_json().encode())
    return view


def engrave_rows(
    line: Line,
    song: SongMap,
    instrument: Instrument,
    *,
    per_row: int = BarsPerRow.FOUR,
    pitch: Pitch = "written",
    first_bar: int | None = None,
    last_bar: int | None = None,
) -> list[StaveRowView]:
    """Rows of any line, a draft too, in which it plays and that hold one of the bars asked for."""
    rows = [
        (first, last)
        for first, last in chart_rows(song, per_row)
        if (first_bar is None or last >= first_bar) and (last_bar is None or first <= last_bar)
    ]
    engraved = staves.engrave_rows(line, song, instrument, rows=rows, per_row=per_row, pitch=pitch)
    return [_row_view(row) for row in engraved]


def chart_rows(song: SongMap, per_row: int) -> Sequence[tuple[int, int]]:
    """First and last bar of each row of the chart."""
    return [(row[0].number, row[-1].number) for row in rows_of_bars(chart_bars(song), per_row)]


def _row_view(row: staves.StaveRow) -> StaveRowView:
    return StaveRowView(
        first_bar=row.first_bar,
        last_bar=row.last_bar,
        svg=row.svg,
        width=row.width,
        height=row.height,
        bars_x=list(row.bars_x),
        stave_y=row.stave_y,
        notes=[StaveNoteView(index=note.index, x=round(note.x, 1), y=round(note.y, 1)) for note in row.notes],
    )
