"""The part as it is played from the screen: rows sized for reading from a music stand's distance, and their times."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby
from pathlib import Path

from pydantic import BaseModel

from obbligato.desk.draft_data import bar_times, row_view, song_of
from obbligato.desk.draft_model import BarTimes, RowView
from obbligato.job.keys import line_key
from obbligato.job.store import JobFolder, now
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid
from obbligato.page.follow import row_marks
from obbligato.page.located import STAVE, LocatedRow, located_rows
from obbligato.page.part import with_signs
from obbligato.page.part_make import make_part
from obbligato.page.part_rows import row_starts, shown_bars
from obbligato.page.part_score import Heading, Part

STAVE_SHARE = 1 / 7.7
"""Height of a stave in heights of the screen: at least an eighth is read from two metres, and a little is lost to the
line of words above the music."""
_NARROWEST_STAVES = 9.0
"""A row narrower than this holds not even one full bar; on an upright screen staves are smaller instead."""
_WIDEST_STAVES = 60.0
_RATIO_STEP = 0.05


class Mark(BaseModel):
    """The marker stands at `x` of its row at `at_s` on the guide's time, and moves straight to the next mark."""

    at_s: float
    x: float


class StandRow(BaseModel):
    """A row, with the marks of everything in it."""

    row: RowView
    marks: list[Mark]


class Silence(BaseModel):
    """Bars in which the player rests; `entry_bar` is where they come in again, and `letter` the section that begins
    there, if one does. After the last note there is no entry."""

    first_bar: int
    last_bar: int
    entry_bar: int | None
    letter: str


class StandView(BaseModel):
    """The whole part, row by row, in the order in which it is played."""

    version: int
    title: str
    instrument: str
    reading: str
    first_note: str
    tempo: str
    stave: float
    width: float
    rows: list[StandRow]
    bars: list[BarTimes]
    silences: list[Silence]


def stand_view(folder: JobFolder, ratio: float) -> StandView:
    """The newest line's part for a screen whose width is `ratio` of its height; kept until something changes.

    Raises
    ------
    InputError
        When there is no line yet.
    NotRightError
        When the song is not mapped.
    """
    steps = max(1, round(ratio / _RATIO_STEP))
    return _stand(folder.root, line_key(folder), folder.job.revision, steps * _RATIO_STEP)


@lru_cache(maxsize=8)
def _stand(root: Path, key: str, revision: int, ratio: float) -> StandView:
    folder = JobFolder.open(root)
    song = song_of(folder)
    placed, brief = current_line(folder), folder.job.brief
    version = placed.version.version
    heading = Heading(brief.title, version, folder.job.guide.sha256, now().date(), brief.player)
    part = make_part(placed.line, song, instrument_of(folder), heading)
    rows = _rows(part, row_width_staves(ratio))
    grid = song.to_grid()
    return StandView(
        version=version,
        title=brief.title,
        instrument=with_signs(part.instrument.name),
        reading=with_signs(part.reading),
        first_note=with_signs(part.first_note),
        tempo=_tempo(part, song),
        stave=STAVE,
        width=rows[0].width,
        rows=[StandRow(row=row_view(row), marks=_marks(row, grid)) for row in rows],
        bars=bar_times(song),
        silences=silences(part),
    )


def row_width_staves(ratio: float) -> float:
    """Width of a row in heights of its stave, for a screen `ratio` times as wide as high."""
    return min(max(ratio / STAVE_SHARE, _NARROWEST_STAVES), _WIDEST_STAVES)


def _marks(row: LocatedRow, grid: Grid) -> list[Mark]:
    return [Mark(at_s=mark.at_s, x=mark.x) for mark in row_marks(row.bars, grid)]


def silences(part: Part) -> list[Silence]:
    """Every stretch of whole bars without a note."""
    found = []
    for empty, run in groupby(part.bars, key=lambda bar: not bar.notes):
        bars = list(run)
        if empty:
            found.append((bars[0].number, bars[-1].number))
    by_number = {bar.number: bar for bar in part.bars}
    return [
        Silence(
            first_bar=first,
            last_bar=last,
            entry_bar=last + 1 if last + 1 in by_number else None,
            letter=by_number[last + 1].rehearsal if last + 1 in by_number else "",
        )
        for first, last in found
    ]


def _rows(part: Part, width_staves: float) -> tuple[LocatedRow, ...]:
    bars = shown_bars(part)
    starts = [bars[start].number for start in row_starts(part, width_staves=width_staves)]
    return located_rows(part, starts=starts, width_staves=width_staves)


def _tempo(part: Part, song: SongMap) -> str:
    about = "" if part.steady else "about "
    number = f"{part.beats_a_minute:.1f}".removesuffix(".0")
    words = f"{about}{number} {song.meter.beat_unit}s a minute"
    return f"{part.feel}, {words}" if part.feel else words
