"""The song as a page of bar rows in the terminal, and what was found in sentences.

Everything is said in characters, so that the chart reads the same without colour, in a file and aloud: a bar where
the singer sings is underlined with `~`, an opening with its own letter, and each opening is listed in words below.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rich.console import Group, RenderableType
from rich.text import Text

from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid
from obbligato.music.harmony import chord_text
from obbligato.music.spans import Opening
from obbligato.page.chart_words import map_questions, map_sentences, opening_sentence

BARS_A_ROW = 4
WIDTH = 80
_GUTTER = 4
_COUNT_IN = "count-in"

SUNG, QUIET = "~", " "
_LETTERS = "abcdefghijklmnopqrstuvwxyz"
_STYLES = {"letter": "", "chords": "bold", "ground": "cyan", "list": "", "question": "italic"}

__all__ = [
    "BARS_A_ROW",
    "ChartBar",
    "chart",
    "chart_bars",
    "chart_text",
    "map_questions",
    "map_sentences",
    "rows_of_bars",
]


@dataclass(frozen=True)
class ChartBar:
    """One bar as the chart shows it.

    Attributes
    ----------
    number
        The song's bar number; 0 and below before bar 1.
    section
        Section letter where a section begins in this bar, otherwise empty.
    chords
        Sounding chords as (beat from 0, text).
    sung
        For each beat whether the singer sings in most of it.
    openings
        For each beat the index of the opening it lies in, or None.
    count_in
        Whether the bar is counted in.
    """

    number: int
    section: str
    chords: tuple[tuple[int, str], ...]
    sung: tuple[bool, ...]
    openings: tuple[int | None, ...]
    count_in: bool


def chart_bars(song: SongMap) -> tuple[ChartBar, ...]:
    """Every bar of the song, from the first with a beat in the file to the last."""
    grid = song.to_grid()
    per_bar = grid.meter.beats_per_bar
    beats = grid.beats_in(0.0, song.source.duration_s)
    if not len(beats):
        return ()
    first, last = (grid.beat_to_position(float(beat)).bar for beat in (beats[0], beats[-1]))
    sections = {_nearest_bar(grid, span.start_s): span.label for span in song.sections}
    chords = _chords_by_beat(song, grid)
    bars = []
    for number in range(first, last + 1):
        start = (number - 1) * per_bar
        places = range(start, start + per_bar)
        bars.append(
            ChartBar(
                number,
                sections.get(number, ""),
                _chords_in(chords, start, per_bar),
                tuple(_share_sung(song, grid, beat) > 0.5 for beat in places),
                tuple(_opening_at(song.openings, grid, beat) for beat in places),
                number < 1 and song.count_in is not None,
            )
        )
    return tuple(bars)


def chart(song: SongMap, *, width: int = WIDTH) -> RenderableType:
    """The chart for a terminal `width` characters wide: rows of four bars (two where it is narrow), then lists."""
    lines = _chart_lines(song, width)
    return Group(*(Text(text, style=_STYLES[kind], no_wrap=kind != "list", overflow="crop") for kind, text in lines))


def chart_text(song: SongMap, *, width: int = WIDTH) -> str:
    """The chart as plain text, the same characters as on a terminal."""
    return "\n".join(text.rstrip() for _, text in _chart_lines(song, width)) + "\n"


def opening_letter(index: int) -> str:
    """The letter that marks an opening on the chart: a to z, then a again."""
    return _LETTERS[index % len(_LETTERS)]


def _chart_lines(song: SongMap, width: int) -> list[tuple[str, str]]:
    bars = chart_bars(song)
    per_row = BARS_A_ROW if width >= 60 else 2
    cell = (max(width, 32) - _GUTTER - 1) // per_row
    lines: list[tuple[str, str]] = []
    for row in rows_of_bars(bars, per_row):
        lines += _row_lines(row, cell)
    lines.append(("list", f"Below each bar: {SUNG} the singer sings; a letter, an opening; blank, neither."))
    grid = song.to_grid()
    if song.openings:
        lines += [("list", ""), ("list", "Openings")]
        for index, opening in enumerate(song.openings):
            lines.append(("list", f"  {opening_letter(index)}  {opening_sentence(opening, song, grid)}"))
    questions = map_questions(song)
    if questions:
        lines += [("list", ""), ("list", "To be settled by your ear")]
        lines += [("question", f"  ?  {question}") for question in questions]
    return lines


def rows_of_bars(bars: Sequence[ChartBar], per_row: int) -> list[list[ChartBar]]:
    """Rows of bars; a new section begins a new row, as do bars before bar 1."""
    rows: list[list[ChartBar]] = []
    for bar in bars:
        if not rows or len(rows[-1]) == per_row or bar.section or bar.number == 1:
            rows.append([])
        rows[-1].append(bar)
    return rows


def _row_lines(row: Sequence[ChartBar], cell: int) -> list[tuple[str, str]]:
    inner = cell - 1
    letter = f"{row[0].section[: _GUTTER - 1]:<{_GUTTER}}"
    margin = " " * _GUTTER
    numbers = "".join(f"|{bar.number!s:<{inner}}" for bar in row)
    chords = "".join("|" + _chord_cell(bar, inner) for bar in row)
    ground = "".join("|" + _ground_cell(bar, inner) for bar in row)
    return [
        ("letter", f"{letter}{numbers}|"),
        ("chords", f"{margin}{chords}|"),
        ("ground", f"{margin}{ground}|"),
        ("list", ""),
    ]


def _beat_columns(beats: int, width: int) -> list[int]:
    """First column of each beat, and the end."""
    return [round(beat * width / beats) for beat in range(beats + 1)]


def _chord_cell(bar: ChartBar, width: int) -> str:
    """Chords at their beats; one that would run into the next pushes it on."""
    columns = _beat_columns(len(bar.sung), width)
    if bar.count_in:
        return _COUNT_IN[:width].ljust(width)
    text = ""
    for beat, name in bar.chords:
        column = max(columns[beat], len(text) + 1 if text else 0)
        text = text.ljust(column) + name
    if len(text) > width:
        text = " ".join(name for _, name in bar.chords)
    return text[: width - 1] + "…" if len(text) > width else text.ljust(width)


def _ground_cell(bar: ChartBar, width: int) -> str:
    columns = _beat_columns(len(bar.sung), width)
    text = ""
    for beat, (sung, opening) in enumerate(zip(bar.sung, bar.openings, strict=True)):
        mark = opening_letter(opening) if opening is not None else SUNG if sung else QUIET
        text += mark * (columns[beat + 1] - columns[beat])
    return text


def _nearest_bar(grid: Grid, seconds: float) -> int:
    return round(float(grid.sec_to_beat(seconds)) / grid.meter.beats_per_bar) + 1


def _chords_by_beat(song: SongMap, grid: Grid) -> dict[int, str]:
    """Chord symbols at the beats nearest to where they begin; of two on one beat the later."""
    return {round(float(grid.sec_to_beat(span.start_s))): chord_text(span.label) for span in song.chords}


def _chords_in(chords: Mapping[int, str], start: int, beats: int) -> tuple[tuple[int, str], ...]:
    """The chord in force at the bar line, and each change inside the bar."""
    before = [beat for beat in chords if beat <= start]
    found = [(0, chords[max(before)])] if before else []
    for beat in sorted(beat for beat in chords if start < beat < start + beats):
        if not found or found[-1][1] != chords[beat]:
            found.append((beat - start, chords[beat]))
    return tuple(found)


def _share_sung(song: SongMap, grid: Grid, beat: int) -> float:
    start, end = (float(x) for x in grid.beat_to_sec([beat, beat + 1]))
    sung = sum(max(0.0, min(end, span.end_s) - max(start, span.start_s)) for span in song.voice)
    return sung / (end - start)


def _opening_at(openings: Sequence[Opening], grid: Grid, beat: int) -> int | None:
    middle = float(grid.beat_to_sec(beat + 0.5))
    return next((i for i, opening in enumerate(openings) if opening.start_s <= middle < opening.end_s), None)
