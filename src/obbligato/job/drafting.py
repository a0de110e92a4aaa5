"""A line as it is being written: a version to go on from, and a draft kept as a new version."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from obbligato.errors import InputError, NotRightError
from obbligato.job.mapping import FINDINGS, song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import PlacedLine, add_line, instrument_of, placed_version
from obbligato.listen.songmap import SongMap
from obbligato.music.line import Line, Note
from obbligato.music.marking import settled
from obbligato.music.midi import midi_bytes
from obbligato.music.performance import SHORTEST_GAP_S
from obbligato.music.phrases import find_phrases
from obbligato.music.remarks import place_text

DRAFT_NAME = "written on the page.mid"
_AFTER_THE_END_BARS = 2


def mapped_song(folder: JobFolder) -> SongMap:
    """The song map, where there is one already.

    Raises
    ------
    NotRightError
        When the guide has not been listened to.
    """
    if not folder.path(FINDINGS).exists():
        raise NotRightError("The guide has not been listened to yet; let the song be mapped first, then write.")
    return song_map(folder)


def line_version(folder: JobFolder, number: int) -> PlacedLine:
    """One version of the line on the song's grid.

    Raises
    ------
    InputError
        When there is no such version.
    """
    version = next((line for line in folder.job.lines if line.version == number), None)
    if version is None:
        raise InputError(f"This job has no version {number} of the line; choose one of those it has.")
    return placed_version(folder, version, mapped_song(folder).to_grid())


def draft_line(notes: Sequence[Note], song: SongMap) -> Line:
    """A draft as a line: in order, one note at a time, inside the song.

    Where a note runs a little into the next one it is ended there, as when a MIDI file is read.

    Raises
    ------
    InputError
        When there is no note, two begin together, or one lies outside the guide.
    """
    grid = song.to_grid()
    ordered = sorted(notes, key=lambda note: note.onset_beat)
    if not ordered:
        raise InputError("There is no note yet; play or write at least one.")
    first_s = float(grid.beat_to_sec(ordered[0].onset_beat))
    if first_s < 0:
        raise InputError("The line starts before the guide's first sample; move its first note later.")
    last = max(ordered, key=lambda note: note.end_beat)
    end = float(grid.sec_to_beat(song.source.duration_s)) + _AFTER_THE_END_BARS * grid.meter.beats_per_bar
    if last.end_beat > end:
        raise InputError(
            f"The note at {place_text(grid, last.onset_beat)} ends after the song; shorten or remove it."
        )
    starts_s = grid.beat_to_sec([note.onset_beat for note in ordered])
    for index, (a_s, b_s) in enumerate(pairwise(starts_s)):
        if b_s - a_s < SHORTEST_GAP_S:
            at = place_text(grid, ordered[index + 1].onset_beat)
            raise InputError(f"Two notes begin together at {at}; take one of them out or move it.")
    cut = [_until(note, following.onset_beat) for note, following in pairwise(ordered)]
    whole = settled((*cut, ordered[-1]))
    return Line(whole, find_phrases(whole, grid))


def keep_draft(folder: JobFolder, notes: Sequence[Note]) -> PlacedLine:
    """Keep a draft as a new version of the line, written as MIDI on the guide's time, with its marks beside it.

    Raises
    ------
    InputError
        As for `draft_line`, and when the draft is the newest version already.
    NotRightError
        When the guide has not been listened to.
    """
    song = mapped_song(folder)
    line = draft_line(notes, song)
    data = midi_bytes(line, song.to_grid(), title=folder.job.brief.title, program=instrument_of(folder).gm_program)
    with tempfile.TemporaryDirectory() as place_to_write:
        file = Path(place_to_write) / DRAFT_NAME
        file.write_bytes(data)
        return add_line(folder, file, start="guide", marked=line.notes)


def _until(note: Note, onset_beat: float) -> Note:
    if note.end_beat <= onset_beat:
        return note
    return replace(note, duration_beats=onset_beat - note.onset_beat)
