"""Each note of the line as it was played in one take: when, at what pitch, how loud, and what else was heard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from obbligato.sound.runs import true_runs
from obbligato.takes.align import Found
from obbligato.takes.attack import Attack, find_attack
from obbligato.takes.hearing import Heard
from obbligato.takes.onset import CONTIGUOUS_S, Before, find_onset
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S
from obbligato.takes.readings import TimedNote
from obbligato.takes.vibrato import CYCLE_FRAMES
from obbligato.units import db_to_power, hz_to_midi, midi_to_hz, power_to_db

WRONG_CENTS = 70.0
"""Beyond this from its place, against the take's own tuning, a note is another note."""
_HEAD_S = 0.08
_TAIL_S = 0.03
_SHORTEST_S = 0.045
_STUB_S = 0.06
_FOREIGN_FRAMES = 5
_EARLY_S, _RESTRUCK_DB, _RESTRUCK_FLUX = 0.09, 6.0, 0.5
_STEADY_FRAMES = 8
_BELOW_TWO_NOTES_CENTS = 1200.0 * np.log2([3.0, 4.0, 5.0, 6.0])
"""How far below a note the pitch lies that it has in common with the note before it, while both are heard."""
_STRUCK_FLUX, _STRUCK_AGAIN_FLUX = 0.3, 0.2
_TAIL_FALL_DB, _STRUCK_DB = 5.0, 3.0


@dataclass(frozen=True)
class PlayedNote:
    """One note of the line in one take.

    Attributes
    ----------
    start_s, end_s
        In the take; None where the note was not heard.
    cents
        Against the equal-tempered pitch at the song's tuning; None where nothing pitched was heard.
    wrong_semitones
        Distance of another pitch heard in its place, 0 for the right one.
    level_db
        RMS over the note, dBFS.
    clean_attack
        Whether the start stands clear of everything before it, so that it is good to a millisecond.
    steady
        Whether enough of the middle was heard for `cents` to be worth trusting alone.
    """

    index: int
    start_s: float | None
    end_s: float | None
    cents: float | None
    wrong_semitones: int
    level_db: float | None
    clean_attack: bool
    steady: bool

    @property
    def heard(self) -> bool:
        """Whether anything was played in the note's place."""
        return self.start_s is not None

    @property
    def right(self) -> bool:
        """Whether the note itself was played."""
        return self.heard and self.wrong_semitones == 0


def own_tuning_cents(heard: Heard, *, a4_hz: float) -> float:
    """How far the take's pitches lie from the song's semitones, by the circular mean; within half a semitone."""
    voiced = heard.track.voiced & (heard.level_db > heard.floor_db + 12.0)
    if not voiced.any():
        return 0.0
    midi = hz_to_midi(heard.track.f0_hz[voiced], a4_hz=a4_hz)
    angle = np.angle(np.mean(np.exp(2j * np.pi * midi)))
    return float(100.0 * angle / (2 * np.pi))


def read_notes(
    heard: Heard, notes: Sequence[TimedNote], found: dict[int, Found], expected_s: Floats, *, a4_hz: float
) -> tuple[PlayedNote, ...]:
    """Read every note of the line from its stretch of the take.

    Parameters
    ----------
    found
        What `align` found.
    expected_s
        Where each note would start in the take were it played to the letter, shape (n_notes,).
    """
    midi = hz_to_midi(np.maximum(heard.track.f0_hz, 1.0), a4_hz=a4_hz)
    tuning = own_tuning_cents(heard, a4_hz=a4_hz)
    spans = _shared_out(heard, notes, found, expected_s)
    spans = {
        note.index: _without_foreign_ends(heard, midi - note.midi - tuning / 100.0, spans[note.index])
        for note in notes
        if note.index in spans
    }
    played: list[PlayedNote] = []
    for position, note in enumerate(notes):
        span = spans.get(note.index)
        if span is None:
            played.append(PlayedNote(note.index, None, None, None, 0, None, False, False))
            continue
        if played and _is_head_of(heard, played[-1], notes[position - 1], note, start_s=span[0]):
            span = (played[-1].start_s or span[0], span[1])
            played[-1] = PlayedNote(played[-1].index, None, None, None, 0, None, False, False)
        before = played[-1] if played and played[-1].end_s is not None else None
        before_note = notes[position - 1] if before else None
        played.append(
            _read_note(
                heard,
                midi,
                note,
                span=span,
                before=before,
                before_note=before_note,
                tuning_cents=tuning,
                a4_hz=a4_hz,
            )
        )
    return tuple(played)


def _shared_out(
    heard: Heard, notes: Sequence[TimedNote], found: dict[int, Found], expected_s: Floats
) -> dict[int, tuple[float, float]]:
    """Spans by note, with stubs dropped and notes swallowed by a neighbour of the same pitch given back.

    A wrong note that has the pitch of its neighbour is heard by the model as one long neighbour. Where that span
    holds an attack at about the time the missing note (or the neighbour after it) was due, it is divided there.
    """
    spans = {i: (f.start_s, f.end_s) for i, f in found.items()}
    for note in notes:
        if note.index in spans:
            length_s = spans[note.index][1] - spans[note.index][0]
            if length_s < max(_SHORTEST_S, 0.15 * (note.end_s - note.start_s)):
                del spans[note.index]
    for i, (note, after) in enumerate(pairwise(notes)):
        if note.index not in spans and after.index in spans:
            start_s = spans[after.index][0]
            late_s = _local_lateness_s(spans, notes, expected_s, i)
            if start_s < expected_s[i + 1] + late_s - 0.5 * (after.start_s - note.start_s):
                _divide(heard, spans, note.index, after.index, due_s=expected_s[i + 1] + late_s)
    for i, (before, note) in enumerate(pairwise(notes), 1):
        if note.index not in spans and before.index in spans:
            end_s = spans[before.index][1]
            late_s = _local_lateness_s(spans, notes, expected_s, i)
            if end_s > expected_s[i] + late_s + 0.4 * (note.end_s - note.start_s):
                _divide(heard, spans, before.index, note.index, due_s=expected_s[i] + late_s)
    for i, note in enumerate(notes):
        if note.index in spans:
            due_s = float(expected_s[i]) + _local_lateness_s(spans, notes, expected_s, i)
            spans[note.index] = _from_its_attack(heard, spans[note.index], due_s)
    return spans


def _from_its_attack(heard: Heard, span: tuple[float, float], due_s: float) -> tuple[float, float]:
    """The span of a note that seems to begin much too early, from the attack at its due time on, if there is one.

    What sounds before that is an extra note of the same pitch, or the note before falling away to it.
    """
    start_s, end_s = span
    if start_s > due_s - _EARLY_S or end_s < due_s + _SHORTEST_S:
        return span
    attack = find_attack(heard.y, due_s, f0_hz=100.0, before_s=0.07, after_s=0.07)
    if attack is None or not start_s + _SHORTEST_S < attack.at_s < end_s - _SHORTEST_S:
        return span
    flux = float(heard.flux[heard.frames_between(attack.at_s - 0.03, attack.at_s + 0.05)].max(initial=0.0))
    return (attack.at_s, end_s) if attack.rise_db >= _RESTRUCK_DB or flux >= _RESTRUCK_FLUX else span


def _without_foreign_ends(heard: Heard, off: Floats, span: tuple[float, float]) -> tuple[float, float]:
    """The span of a note without other steady pitches at its ends, which belong to no note of the line."""
    frames = heard.frames_between(*span)
    off, voiced, times_s = off[frames], heard.track.voiced[frames], heard.track.times_s[frames]
    right = voiced & (np.abs(off) < 0.6)
    foreign = voiced & (np.abs((off + 6.0) % 12.0 - 6.0) > 0.8)
    runs = [(a, b) for a, b in true_runs(right) if b - a >= _FOREIGN_FRAMES]
    if not runs:
        return span
    first, last = runs[0][0], runs[-1][1]
    start_s, end_s = span
    if foreign[:first].sum() >= _FOREIGN_FRAMES:
        start_s = float(times_s[first] - HOP_S / 2)
    if foreign[last:].sum() >= _FOREIGN_FRAMES:
        end_s = float(times_s[last - 1] + HOP_S / 2)
    return start_s, end_s


def _divide(heard: Heard, spans: dict[int, tuple[float, float]], first: int, second: int, *, due_s: float) -> None:
    """Give the one span that two notes share to both, at the attack near `due_s` if there is one."""
    start_s, end_s = spans[first] if first in spans else spans[second]
    attack = find_attack(heard.y, due_s, f0_hz=100.0)
    near = heard.frames_between(due_s - 0.09, due_s + 0.09)
    if attack is None or near.start == near.stop or not start_s + 0.04 < attack.at_s < end_s - 0.04:
        return
    if attack.rise_db >= 3.0 or float(heard.flux[near].max()) >= 0.4:
        spans[first], spans[second] = (start_s, attack.at_s), (attack.at_s, end_s)


def _local_lateness_s(
    spans: dict[int, tuple[float, float]], notes: Sequence[TimedNote], expected_s: Floats, position: int
) -> float:
    around = [
        spans[notes[i].index][0] - expected_s[i]
        for i in range(max(0, position - 4), min(len(notes), position + 5))
        if notes[i].index in spans and abs(i - position) > 1
    ]
    return float(np.median(around)) if around else 0.0


def _read_note(
    heard: Heard,
    midi: Floats,
    note: TimedNote,
    *,
    span: tuple[float, float],
    before: PlayedNote | None,
    before_note: TimedNote | None,
    tuning_cents: float,
    a4_hz: float,
) -> PlayedNote:
    start_s, end_s = span
    f0_hz = float(midi_to_hz(note.midi, a4_hz=a4_hz))
    contiguous = before is not None and before.end_s is not None and start_s - before.end_s < CONTIGUOUS_S
    earliest_s = before.start_s + 0.04 if before is not None and before.start_s is not None else 0.0
    attack = find_attack(
        heard.y,
        start_s,
        f0_hz=f0_hz,
        before_s=float(np.clip(start_s - earliest_s, 0.02, 0.09)),
        after_s=float(np.clip(end_s - start_s - 0.02, 0.02, 0.09)),
    )
    if attack is not None and attack.at_s < earliest_s:
        attack = None
    repeated = before_note is not None and before_note.midi == note.midi
    if repeated and contiguous and not _struck_again(heard, attack, start_s):
        return PlayedNote(note.index, None, None, None, 0, None, False, False)
    old = None
    if before is not None and before_note is not None and before.start_s is not None and before.end_s is not None:
        old = Before(before_note.midi + before.wrong_semitones, before.start_s, before.end_s)
    onset_s, clean = find_onset(heard, midi, note, span=span, attack=attack, old=old)
    cents, steady = _centre_cents(heard, midi - note.midi, onset_s, end_s)
    if cents is None and end_s - onset_s < _STUB_S:
        return PlayedNote(note.index, None, None, None, 0, None, False, False)
    wrong = 0
    if cents is not None and abs(cents - tuning_cents) > WRONG_CENTS:
        right = _right_in_part(heard, midi - note.midi - tuning_cents / 100.0, onset_s, end_s)
        cents, steady = (cents, steady) if right is None else (right + tuning_cents, False)
    if cents is not None and abs(cents - tuning_cents) > WRONG_CENTS:
        wrong = round((cents - tuning_cents) / 100.0)
        held_on = before_note is not None and note.midi + wrong == before_note.midi
        falls = _fall_db(heard, onset_s, end_s) >= _TAIL_FALL_DB
        struck = attack is not None and attack.rise_db >= _STRUCK_DB
        only_tail = falls and not struck and (held_on or not steady)
        if contiguous and (only_tail or (held_on and _flux_near(heard, start_s) < _STRUCK_FLUX)):
            return PlayedNote(note.index, None, None, None, 0, None, False, False)
    body = heard.frames_between(onset_s + 0.016, max(end_s, onset_s + 0.05))
    level_db = float(power_to_db(np.mean(db_to_power(heard.level_db[body])))) if body.stop > body.start else None
    return PlayedNote(note.index, onset_s, end_s, cents, wrong, level_db, clean, steady)


def _right_in_part(heard: Heard, off: Floats, start_s: float, end_s: float) -> float | None:
    """Cents from its place of the part of a note that is at its place, where that is a third of the note; else None.

    A short note's neighbours are heard in most of it, for pitch is measured over some hundredths of a second.
    """
    frames = heard.frames_between(start_s, end_s)
    values = 100.0 * off[frames][heard.track.voiced[frames]]
    for below in _BELOW_TWO_NOTES_CENTS:
        values = np.where(np.abs(values + below) < WRONG_CENTS, values + below, values)
    right = values[np.abs(values) < WRONG_CENTS]
    return float(np.median(right)) if len(right) >= max(2, len(values) / 3) else None


def _is_head_of(heard: Heard, wrong: PlayedNote, wrong_note: TimedNote, note: TimedNote, *, start_s: float) -> bool:
    """Whether what was taken for a wrong note is the beginning of the right note after it."""
    same = wrong.wrong_semitones != 0 and wrong_note.midi + wrong.wrong_semitones == note.midi
    contiguous = wrong.end_s is not None and start_s - wrong.end_s < CONTIGUOUS_S
    return same and contiguous and _flux_near(heard, start_s) < _STRUCK_FLUX


def _fall_db(heard: Heard, start_s: float, end_s: float) -> float:
    """By how much a stretch is softer at its end than at its beginning."""
    level_db = heard.level_db[heard.frames_between(start_s, end_s)]
    third = max(1, len(level_db) // 3)
    return float(np.mean(level_db[:third]) - np.mean(level_db[-third:])) if level_db.size else 0.0


def _struck_again(heard: Heard, attack: Attack | None, start_s: float) -> bool:
    return (attack is not None and attack.rise_db >= 2.5) or _flux_near(heard, start_s) >= _STRUCK_AGAIN_FLUX


def _flux_near(heard: Heard, at_s: float) -> float:
    """Strength of the strongest attack within 60 ms."""
    return float(heard.flux[heard.frames_between(at_s - 0.06, at_s + 0.06)].max(initial=0.0))


def _centre_cents(heard: Heard, semitones: Floats, start_s: float, end_s: float) -> tuple[float | None, bool]:
    """Centre of a note's pitch in cents from its place, and whether its middle is long enough to trust."""
    length_s = end_s - start_s
    head_s = min(_HEAD_S, 0.35 * length_s)
    frames = heard.frames_between(start_s + head_s, end_s - min(_TAIL_S, 0.15 * length_s))
    usable = heard.track.voiced[frames]
    values = semitones[frames][usable] * 100.0
    if len(values) < 2:
        frames = heard.frames_between(start_s + 0.016, end_s)
        values = semitones[frames][heard.track.voiced[frames]] * 100.0
        if len(values) < 2:
            return None, False
        return float(np.median(values)), False
    centre = float(np.median(values))
    centre = float(values[np.argmin(np.abs(values - centre))])
    close = values[np.abs(values - centre) < 150.0]
    width = min(CYCLE_FRAMES, len(close))
    smooth = np.convolve(close, np.ones(width) / width, mode="valid")
    return float(np.median(smooth)), len(close) >= _STEADY_FRAMES and len(close) >= 0.6 * len(values)
