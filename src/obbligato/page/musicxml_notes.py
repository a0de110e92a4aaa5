"""What a note looks like: its value and dots, its beams, and whether it needs an accidental.

The rules are those of any handbook of engraving (common practice, no source): beams show the beats, an accidental
holds to the bar line in its own octave, and a reminder is given in the other octave and in the bar after.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from obbligato.errors import InputError
from obbligato.music.grid import Meter
from obbligato.music.splitting import beat_group
from obbligato.page.part_score import ScoreNote

_VALUES = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
}
_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4}
_DOTTED = (Fraction(1), Fraction(3, 2), Fraction(7, 4))
_SHARPS = "FCGDAEB"
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


def note_value(quarters: Fraction) -> tuple[str, int]:
    """Note value and number of dots of a length in quarter notes.

    >>> note_value(Fraction(3, 2))
    ('quarter', 1)

    Raises
    ------
    InputError
        When no single note has this length.
    """
    for dots, factor in enumerate(_DOTTED):
        if quarters / factor in _VALUES:
            return _VALUES[quarters / factor], dots
    raise InputError(f"No single note is {quarters} quarters long; split it into tied notes.")


class Accidentals:
    """Which accidentals are in force, bar by bar, under a key signature."""

    def __init__(self, fifths: int) -> None:
        flats = _SHARPS[::-1]
        self._key = dict.fromkeys(_SHARPS, 0)
        for step in _SHARPS[:fifths] if fifths > 0 else flats[:-fifths]:
            self._key[step] = 1 if fifths > 0 else -1
        self._in_bar: dict[tuple[str, int], int] = {}
        self._changed: dict[str, int] = {}
        self._changed_before: dict[str, int] = {}

    def next_bar(self) -> None:
        """Cross a bar line."""
        self._in_bar = {}
        self._changed_before, self._changed = self._changed, {}

    def sign(self, note: ScoreNote) -> str | None:
        """The accidental that a note needs, as MusicXML names it; None where it needs none."""
        pitch = note.pitch
        if pitch is None:
            return None
        natural_here = self._key[pitch.step]
        if note.tied_from_before:
            # A tie carries the pitch over the bar line, but not the accidental: a fresh note must say it again.
            if pitch.alter != natural_here:
                self._changed[pitch.step] = pitch.alter
            return None
        place = (pitch.step, pitch.octave)
        in_force = self._in_bar.get(place, natural_here)
        reminder = self._changed.get(pitch.step, self._changed_before.get(pitch.step, natural_here))
        stated = place in self._in_bar
        needed = pitch.alter != in_force or (not stated and reminder != pitch.alter)
        self._in_bar[place] = pitch.alter
        self._changed_before.pop(pitch.step, None)
        if pitch.alter != natural_here or pitch.step in self._changed:
            self._changed[pitch.step] = pitch.alter
        return _SIGNS[pitch.alter] if needed else None


def beam_levels(notes: Sequence[ScoreNote], meter: Meter) -> list[tuple[str, ...]]:
    """For each note of a bar its beams as MusicXML names them, from the first level on; nothing where it has none."""
    result: list[tuple[str, ...]] = [()] * len(notes)
    for group in _beam_groups(notes, meter):
        counts = [_beam_count(notes[i]) for i in group]
        for position, index in enumerate(group):
            result[index] = tuple(_beam_state(counts, position, level) for level in range(1, counts[position] + 1))
    return result


def _beam_count(note: ScoreNote) -> int:
    scale = Fraction(note.tuplet.actual, note.tuplet.normal) if note.tuplet else Fraction(1)
    return 0 if note.pitch is None else _BEAMS.get(note_value(note.quarters * scale)[0], 0)


def _beam_groups(notes: Sequence[ScoreNote], meter: Meter) -> list[list[int]]:
    """Runs of two or more notes to beam: in a group of beats, or two beats of plain eighths in even metres."""
    groups: list[list[int]] = []
    for index, note in enumerate(notes):
        if not _beam_count(note):
            continue
        last = groups[-1] if groups else []
        joins = bool(last) and last[-1] == index - 1
        if joins and _group_of(notes[last[0]], meter) == _group_of(note, meter):
            last.append(index)
        else:
            groups.append([index])
    return [group for group in _join_pairs(groups, notes, meter) if len(group) > 1]


def _group_of(note: ScoreNote, meter: Meter) -> int:
    return beat_group(note.onset / meter.beat_quarters, meter)


def _join_pairs(groups: list[list[int]], notes: Sequence[ScoreNote], meter: Meter) -> list[list[int]]:
    """Beam four plain eighths on beats 1-2 and 3-4 together, as a quarter-note metre with even beats is read."""
    if meter.compound or meter.beats_per_bar % 2 or meter.beat_quarters != 1:
        return groups
    joined: list[list[int]] = []
    for group in groups:
        before = joined[-1] if joined else []
        pair = before + group
        beats = [_group_of(notes[i], meter) for i in (group[0], *before[:1])]
        plain = all(notes[i].quarters == Fraction(1, 2) and notes[i].tuplet is None for i in pair)
        if len(before) == 2 and len(group) == 2 and plain and beats[0] % 2 == 1 and beats[1] == beats[0] - 1:
            joined[-1] = pair
        else:
            joined.append(group)
    return joined


def _beam_state(counts: Sequence[int], position: int, level: int) -> str:
    before = position > 0 and counts[position - 1] >= level
    after = position + 1 < len(counts) and counts[position + 1] >= level
    if before and after:
        return "continue"
    if before:
        return "end"
    if after:
        return "begin"
    return "forward hook" if position == 0 else "backward hook"
