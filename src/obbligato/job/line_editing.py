"""Editing the line of a job in words: every edit is kept as a new version, the one before stays as it was.

An edit is a word for what to do, a place or a stretch in bars and beats, and how much or what: `move 12:3 0.5`,
`transpose 12-14 -12`, `add 12:3 A4 1`, `mark 12:3 staccato`. Names of notes are written pitch for the instrument.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from obbligato.errors import InputError
from obbligato.job.drafting import draft_line, keep_draft, line_version, mapped_song
from obbligato.job.places import parse_stretch
from obbligato.job.store import JobFolder
from obbligato.job.writing import PlacedLine, current_line, instrument_of
from obbligato.music import editing, marking
from obbligato.music.difference import BarChange, line_difference
from obbligato.music.editing import Notes, Reach
from obbligato.music.grid import Grid
from obbligato.music.harmony import pitch_class
from obbligato.music.instruments import Instrument
from obbligato.music.layers import Layer, make_layer
from obbligato.music.line import Note
from obbligato.music.marking import MARKS, Mark
from obbligato.music.marks import LEVELS, Level
from obbligato.music.midi import midi_bytes
from obbligato.music.playable import range_remarks

NORMAL_BREATH_S = 0.5
"""A normal breath takes 0.5 to 0.8 s (common practice, no source)."""
EDITS = {
    "move": "move 12:3 0.5 (beats later; -0.5 earlier)",
    "transpose": "transpose 12-14 -12 (semitones)",
    "delete": "delete 12:3",
    "add": "add 12:3 A4 1 (written pitch, beats)",
    "lengthen": "lengthen 12:3 0.5 (beats)",
    "shorten": "shorten 12:3 0.5 (beats)",
    "breathe": "breathe 12:3 (after that note; or with seconds: breathe 12:3 0.8)",
    "split": "split 12:3 (a phrase ends after that note, with a breath mark)",
    "dynamics": f"dynamics 12-14 mf (how loud it is played, not on the page: {', '.join(LEVELS)})",
    "mark": f"mark 12:1-12:4 slur (on the page: {', '.join(MARKS)})",
    "unmark": "unmark 12-14 (all marks there; or one kind: unmark 12-14 slur)",
}
"""Every edit with an example of it."""
_NUMBER = re.compile(r"[+-]?\d{1,4}(?:[.,]\d{1,4})?")


def edit_line(folder: JobFolder, text: str) -> tuple[PlacedLine, tuple[BarChange, ...]]:
    """Edit the newest version and keep the result as the next one; edits are parted by semicolons.

    Raises
    ------
    InputError
        When an edit is not understood, finds no note, or would make no line; no version is added then.
    """
    folder.require_writable()
    song, instrument = mapped_song(folder), instrument_of(folder)
    grid = song.to_grid()
    before = current_line(folder).line.notes
    notes = apply_edits(before, text, grid, instrument)
    # What is kept is compared, with the notes that run into others already ended there.
    changes = line_difference(before, draft_line(notes, song).notes, grid, instrument)
    if not changes:
        raise InputError(f"'{text}' would change nothing; write an edit like: {EDITS['move']}.")
    return keep_draft(folder, notes), changes


def difference_of(folder: JobFolder, before: int, after: int) -> tuple[BarChange, ...]:
    """What is different between two versions, bar by bar."""
    old, new = (line_version(folder, number).line.notes for number in (before, after))
    return line_difference(old, new, mapped_song(folder).to_grid(), instrument_of(folder))


def add_layer(folder: JobFolder, layer: Layer) -> tuple[str, tuple[str, ...]]:
    """Write a second voice of the newest version as MIDI.

    Its place inside the job is given, and what leaves the safe range of the job's instrument, in sentences.
    """
    song, placed = mapped_song(folder), current_line(folder)
    grid = song.to_grid()
    notes = make_layer(placed.line.notes, layer, grid, chords=song.chords, keys=song.keys)
    data = midi_bytes(
        draft_line(notes, song), grid, title=folder.job.brief.title, program=instrument_of(folder).gm_program
    )
    file = f"line/v{placed.version.version}-{layer}.mid"
    folder.add_file(file, data)
    return file, tuple(remark.sentence for remark in range_remarks(notes, grid, instrument_of(folder)))


def apply_edits(notes: Notes, text: str, grid: Grid, instrument: Instrument) -> Notes:
    """Edits in words, parted by semicolons, applied to notes one after the other."""
    for edit in filter(None, (piece.strip() for piece in text.split(";"))):
        notes = apply_edit(notes, edit, grid, instrument)
    return notes


def apply_edit(notes: Notes, edit: str, grid: Grid, instrument: Instrument) -> Notes:
    """One edit in words, applied to notes.

    Raises
    ------
    InputError
        When it is not understood, or nothing begins where it looks for notes.
    """
    verb, *rest = edit.split()
    if verb not in EDITS:
        raise InputError(f"'{verb}' is not an edit; use one of: {', '.join(EDITS)}.")
    if not rest:
        raise _unclear(edit, verb)
    place, *values = rest
    reach = _reach(place, grid)
    if verb == "add":
        return editing.add(notes, _new_note(edit, reach, values, notes, instrument))
    if not reach.indices(notes):
        raise InputError(f"No note of the line begins at {place}; nothing was changed.")
    if verb == "dynamics":
        return _played_at(notes, reach, edit, values)
    if verb in ("mark", "unmark", "split"):
        return _marked(notes, reach, edit, values)
    if verb == "breathe":
        breath_s = _number(edit, verb, values) if values else NORMAL_BREATH_S
        return editing.breathe_after(notes, reach, grid, breath_s=breath_s)
    if verb == "delete" and not values:
        return editing.delete(notes, reach)
    return _changed(notes, reach, edit, values)


def _changed(notes: Notes, reach: Reach, edit: str, values: Sequence[str]) -> Notes:
    """The edits that take one number; any other with values it does not take is refused here."""
    verb = edit.split(maxsplit=1)[0]
    amount = _number(edit, verb, values)
    if verb == "move":
        return editing.move(notes, reach, beats=amount)
    if verb == "transpose" and amount == int(amount):
        return editing.transpose(notes, reach, semitones=int(amount))
    if verb in ("lengthen", "shorten"):
        return editing.lengthen(notes, reach, beats=amount if verb == "lengthen" else -amount)
    raise _unclear(edit, verb)


def _played_at(notes: Notes, reach: Reach, edit: str, values: Sequence[str]) -> Notes:
    """Another loudness as played; where the page says one, that is what is played, and there it is changed."""
    level: Level | None = next((name for name in LEVELS if list(values) == [name]), None)
    if level is None:
        raise _unclear(edit, "dynamics")
    above = [note.marks.level for note in notes[: reach.indices(notes)[-1] + 1] if note.marks.level]
    if above:
        raise InputError(f"The page says {above[-1]} there; change that, like: mark 12:1 {level}.")
    return editing.set_velocity(notes, reach, velocity=LEVELS[level])


def _marked(notes: Notes, reach: Reach, edit: str, values: Sequence[str]) -> Notes:
    """Put marks on notes, or take them off."""
    verb = edit.split(maxsplit=1)[0]
    indices = reach.indices(notes)
    mark: Mark | None = next((name for name in MARKS if list(values) == [name]), None)
    if (mark is None) != (not values) or (verb == "mark" and mark is None) or (verb == "split" and values):
        raise _unclear(edit, verb)
    if verb == "unmark":
        return marking.take_off(notes, indices, mark)
    return marking.put(notes, indices, "breath" if mark is None else mark)


def _unclear(edit: str, verb: str) -> InputError:
    return InputError(f"'{edit}' is not understood; write it like: {EDITS[verb]}.")


def _number(edit: str, verb: str, values: Sequence[str]) -> float:
    if len(values) != 1 or not _NUMBER.fullmatch(values[0]):
        raise _unclear(edit, verb)
    return float(values[0].replace(",", "."))


def _reach(text: str, grid: Grid) -> Reach:
    """Bars are whole; a single bar and beat is one note."""
    first, last = parse_stretch(text)
    beats_per_bar = grid.meter.beats_per_bar
    for place in (first, last):
        if place.beat is not None and not 1.0 <= place.beat < beats_per_bar + 1.0:
            raise InputError(f"'{text}': a bar has the beats 1 to {beats_per_bar}.")
    start = grid.bar_to_beat(first.bar, first.beat or 1.0)
    if first == last and first.beat is not None:
        return Reach(start)
    if last.beat is None:
        # Up to where the next bar's first note may come early.
        return Reach(start, grid.bar_to_beat(last.bar + 1) - 2.0 * editing.NEAR_BEATS)
    return Reach(start, grid.bar_to_beat(last.bar, last.beat))


def _new_note(edit: str, reach: Reach, values: Sequence[str], notes: Notes, instrument: Instrument) -> Note:
    match = re.fullmatch(r"([A-Ga-g])([#b]?)(-?\d)", values[0]) if values else None
    if match is None or reach.last_beat is not None:
        raise _unclear(edit, "add")
    beats = _number(edit, "add", values[1:])
    # The letter says the octave: Cb4 is the key of B3.
    shift = {"#": 1, "b": -1, "": 0}[match[2]]
    written = 12 * (int(match[3]) + 1) + pitch_class(match[1].upper()) + shift
    pitch = instrument.to_sounding(written)
    if beats <= 0.0 or not 0 <= pitch <= 127:
        raise _unclear(edit, "add")
    velocity = min(notes, key=lambda note: abs(note.onset_beat - reach.first_beat)).velocity
    return Note(reach.first_beat, beats, pitch, velocity)
