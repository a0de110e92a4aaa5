"""A line being written, as the page shows it: rows of music, and for every note its name, place, air and range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from obbligato.desk.draft_model import (
    BarTimes,
    BudgetView,
    Draft,
    DraftEdit,
    DraftNoteView,
    DraftView,
    NoteView,
    OpeningHelpView,
    Pitch,
    RemarkView,
    RowBarView,
    RowView,
    SheetView,
    SymbolView,
    VersionView,
)
from obbligato.job.checking import check_in_song
from obbligato.job.drafting import draft_line, line_version, mapped_song
from obbligato.job.line_editing import apply_edits
from obbligato.job.mapping import map_key
from obbligato.job.opening_help import help_for
from obbligato.job.singer_notes import singer_notes
from obbligato.job.store import JobFolder, now
from obbligato.job.writing import instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.music.breath import read_tank
from obbligato.music.difference import line_difference
from obbligato.music.harmony import key_prefers_flats, note_name
from obbligato.music.instruments import Instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.spans import SungNote
from obbligato.music.stamina import budgets
from obbligato.page.located import (
    LocatedRow,
    first_note_index,
    in_sounding_pitch,
    located_rows,
    stretch,
    written_notes,
)
from obbligato.page.part_make import make_part
from obbligato.page.part_score import Heading, Part


@lru_cache(maxsize=8)
def _song_of(root: Path, key: str) -> SongMap:
    return mapped_song(JobFolder.open(root))


def song_of(folder: JobFolder) -> SongMap:
    """The song map of a job, kept between requests until it changes."""
    return _song_of(folder.root, map_key(folder))


def check_remarks(
    line: Line, song: SongMap, instrument: Instrument, sung: Sequence[SungNote] | None
) -> list[RemarkView]:
    """What the check says about a line."""
    remarks = check_in_song(line, song, instrument, sung=sung)
    return [RemarkView.model_validate(remark) for remark in remarks]


def draft_view(folder: JobFolder, draft: Draft) -> DraftView:
    """Engrave and look at a draft; without notes it is the empty song, to write in.

    Raises
    ------
    InputError
        When two notes begin together, one lies outside the song, or more stand in a beat than can be written.
    NotRightError
        When the song is not mapped.
    """
    song, instrument = song_of(folder), instrument_of(folder)
    line = draft_line([note.to_note() for note in draft.notes], song) if draft.notes else None
    part = _whole_part(line, song, instrument, draft.pitch)
    first, last = part.bars[0].number, part.bars[-1].number
    rows = _rows(part, draft, first, last)
    return DraftView(
        rows=rows,
        notes=_notes(line, part, song, instrument, draft.pitch) if line else [],
        phrases=[(phrase.first_note, phrase.last_note) for phrase in line.phrases] if line else [],
        remarks=check_remarks(line, song, instrument, singer_notes(folder, measure=False)) if line else [],
        budgets=_budgets(line, song, instrument) if line else [],
        first_bar=first,
        last_bar=last,
        feel=part.feel,
    )


def edited(folder: JobFolder, draft: DraftEdit) -> list[NoteView]:
    """The notes of a draft after an edit in words; nothing is kept.

    Raises
    ------
    InputError
        When the edit is not understood or finds no note.
    """
    notes = tuple(sorted((note.to_note() for note in draft.notes), key=lambda note: note.onset_beat))
    changed = apply_edits(notes, draft.edit, song_of(folder).to_grid(), instrument_of(folder))
    return [NoteView.of(note) for note in changed]


def help_view(folder: JobFolder) -> list[OpeningHelpView]:
    """What helps to write for each opening."""
    helps = help_for(song_of(folder), instrument_of(folder), singer_notes(folder, measure=False))
    return [OpeningHelpView.model_validate(one) for one in helps]


def sheet_view(folder: JobFolder, version: int | None) -> SheetView:
    """The song to write in, with a version of the line (the newest, when none is named; none when there is none)."""
    song = song_of(folder)
    grid = song.to_grid()
    if version is None and folder.job.lines:
        version = folder.job.lines[-1].version
    notes = line_version(folder, version).line.notes if version else ()
    return SheetView(
        version=version or 0,
        notes=[NoteView.of(note) for note in notes],
        beats_per_bar=grid.meter.beats_per_bar,
        beat_quarters=float(grid.meter.beat_quarters),
        compound=grid.meter.compound,
        signature=str(grid.meter),
        bars=bar_times(song),
        duration_s=song.source.duration_s,
    )


def bar_times(song: SongMap) -> list[BarTimes]:
    """Every bar of the song that lies in the guide, with the times of its beats."""
    grid = song.to_grid()
    beats_per_bar = grid.meter.beats_per_bar
    letters = {round(float(grid.sec_to_beat(s.start_s)) / beats_per_bar) + 1: s.label for s in song.sections}
    first = grid.position_at(0.0).bar
    last = grid.position_at(song.source.duration_s).bar
    return [
        BarTimes(
            number=bar,
            beats_s=[
                float(s) for s in grid.beat_to_sec([(bar - 1) * beats_per_bar + i for i in range(beats_per_bar + 1)])
            ],
            section=letters.get(bar, ""),
        )
        for bar in range(first, last + 1)
    ]


def versions_view(folder: JobFolder) -> list[VersionView]:
    """All versions, newest first, each with what it changed."""
    grid, instrument = song_of(folder).to_grid(), instrument_of(folder)
    views = []
    before: tuple[Note, ...] | None = None
    for version in folder.job.lines:
        notes = line_version(folder, version.version).line.notes
        changes = [] if before is None else line_difference(before, notes, grid, instrument)
        views.append(
            VersionView(
                version=version.version,
                given_as=version.given_as,
                notes=len(notes),
                changes=[change.sentence for change in changes],
            )
        )
        before = notes
    return views[::-1]


def difference_view(folder: JobFolder, before: int, after: int) -> list[str]:
    """What is different between two versions, a sentence for each bar."""
    old, new = (line_version(folder, version).line.notes for version in (before, after))
    changes = line_difference(old, new, song_of(folder).to_grid(), instrument_of(folder))
    return [change.sentence for change in changes]


def row_view(row: LocatedRow) -> RowView:
    """An engraved row for the page."""
    bars = [
        RowBarView(
            number=bar.number,
            bars=bar.bars,
            left=bar.left,
            right=bar.right,
            music_left=bar.music_left,
            symbols=[SymbolView(beat=s.beat, x=s.x, note=s.note) for s in bar.symbols],
        )
        for bar in row.bars
    ]
    return RowView(svg=row.svg, width=row.width, height=row.height, stave_top=row.stave_top, bars=bars)


def _whole_part(line: Line | None, song: SongMap, instrument: Instrument, pitch: Pitch) -> Part:
    """The part with every bar shown; of no line, that of one note with the note taken out again."""
    shown = instrument if pitch == "written" else in_sounding_pitch(instrument)
    heading = Heading("", 0, song.source.sha256, now().date())
    any_note = (Note(0.0, 1.0, instrument.to_sounding(instrument.comfortable_low)),)
    some_line = line or Line(any_note, (Phrase(0, 0, 0),))
    part = make_part(some_line, song, shown, heading, gather_rests=False)
    return part if line else replace(part, bars=tuple(replace(bar, notes=()) for bar in part.bars))


def _rows(part: Part, draft: Draft, first: int, last: int) -> list[RowView]:
    """The rows that hold the bars asked for; rows begin at bar 1 and with every section."""
    starts = [first]
    for bar in part.bars[1:]:
        if bar.rehearsal or bar.number == 1 or bar.number - starts[-1] == draft.per_row:
            starts.append(bar.number)
    wanted_first = first if draft.first_bar is None else min(max(draft.first_bar, first), last)
    wanted_last = last if draft.last_bar is None else min(max(draft.last_bar, wanted_first), last)
    begin = max(start for start in starts if start <= wanted_first)
    end = min((start for start in starts if start > wanted_last), default=last + 1) - 1
    # The bar after them makes the engraver fill their last row, and gives it the bar line that stands there.
    after = [end + 1] if end < last else []
    rows = located_rows(
        stretch(part, begin, end + len(after)),
        starts=[start for start in starts if begin <= start <= end] + after,
        width_staves=draft.width_staves,
        first_note=first_note_index(part, begin),
    )[: -1 if after else None]
    return [row_view(row) for row in rows]


def _budgets(line: Line, song: SongMap, instrument: Instrument) -> list[BudgetView]:
    return [BudgetView.model_validate(budget) for budget in budgets(line.notes, song.to_grid(), instrument)]


def _notes(line: Line, part: Part, song: SongMap, instrument: Instrument, pitch: Pitch) -> list[DraftNoteView]:
    grid = song.to_grid()
    tank = {reading.note: reading for reading in read_tank(line.notes, grid, instrument)}
    flats = not song.keys or key_prefers_flats(song.keys[0].tonic, song.keys[0].mode)
    views = []
    for index, (note, (bar, beat, name)) in enumerate(zip(line.notes, written_notes(part), strict=True)):
        other = note.pitch if pitch == "written" else instrument.to_written(note.pitch)
        other_name = f"{note_name(other, prefer_flats=flats)}{other // 12 - 1}"
        written, sounding = (name, other_name) if pitch == "written" else (other_name, name)
        reading = tank.get(index)
        views.append(
            DraftNoteView(
                written=written,
                sounding=sounding,
                beat=beat,
                bar=bar,
                zone=instrument.zone(instrument.to_written(note.pitch)),
                air=reading.left if reading else None,
                breathed=reading.breathed if reading else None,
            )
        )
    return views
