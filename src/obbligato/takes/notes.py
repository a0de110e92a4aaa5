"""Each note of the line as it was played in one take: when, at what pitch, how loud, and what else was heard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from obbligato.takes.align import Found
from obbligato.takes.attack import Attack, find_attack
from obbligato.takes.hearing import Heard
from obbligato.takes.pitch import HOP_S, Floats
from obbligato.takes.readings import TimedNote
from obbligato.units import db_to_power, hz_to_midi, midi_to_hz, power_to_db

WRONG_CENTS = 70.0
"""Beyond this from its place, against the take's own tuning, a note is another note."""
_HEAD_S = 0.08
_TAIL_S = 0.03
_CYCLE_FRAMES = 11
"""About one cycle of vibrato (176 ms), over which pitch is averaged."""
_SHORTEST_S = 0.045
_CONTIGUOUS_S = 0.045
_EXTRA_FRAMES = 5
_CLEAN_RISE_DB = 20.0
_STRUCK_FLUX = 0.3
_NEAR_FLOOR_DB = 14.0


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


@dataclass(frozen=True)
class ExtraNote:
    """Something pitched that is not in the line: seconds in the take, and sounding pitch."""

    start_s: float
    end_s: float
    midi: float


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


def find_extra_notes(
    heard: Heard, played: Sequence[PlayedNote], start_s: float, end_s: float, *, a4_hz: float
) -> tuple[ExtraNote, ...]:
    """Steady pitches between `start_s` and `end_s` that belong to none of the notes played there."""
    frames = heard.frames_between(start_s, end_s)
    if frames.stop - frames.start < _EXTRA_FRAMES:
        return ()
    midi = hz_to_midi(np.maximum(heard.track.f0_hz[frames], 1.0), a4_hz=a4_hz)
    times_s = heard.track.times_s[frames]
    level_db = heard.level_db[frames]
    usable = heard.track.voiced[frames] & (heard.track.confidence[frames] > 0.65)
    levels = [note.level_db for note in played if note.level_db is not None]
    usable &= level_db > (np.median(levels) - 22.0 if levels else heard.floor_db + 20.0)
    free = usable.copy()
    for note in played:
        if note.start_s is None or note.end_s is None or note.cents is None:
            continue
        pitch = _sounding(note, midi, times_s)
        near = (times_s > note.start_s - 0.1) & (times_s < note.end_s + 0.6)
        octaves = np.abs((midi - pitch + 6.0) % 12.0 - 6.0) < 0.8
        turning = (times_s > note.start_s - 0.05) & (times_s < note.start_s + 0.07)
        free &= ~(near & octaves) & ~turning
    return tuple(
        ExtraNote(float(times_s[a]), float(times_s[b - 1]), float(np.median(midi[a:b])))
        for a, b in _runs(free)
        if b - a >= _EXTRA_FRAMES and np.ptp(midi[a:b]) < 0.8
    )


def _sounding(note: PlayedNote, midi: Floats, times_s: Floats) -> float:
    inside = (times_s >= (note.start_s or 0.0) + 0.04) & (times_s <= (note.end_s or 0.0))
    return float(np.median(midi[inside])) if inside.any() else -100.0


def _runs(mask: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


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
    return spans


def _without_foreign_ends(heard: Heard, off: Floats, span: tuple[float, float]) -> tuple[float, float]:
    """The span of a note without other steady pitches at its ends, which belong to no note of the line."""
    frames = heard.frames_between(*span)
    off, voiced, times_s = off[frames], heard.track.voiced[frames], heard.track.times_s[frames]
    right = voiced & (np.abs(off) < 0.6)
    foreign = voiced & (np.abs((off + 6.0) % 12.0 - 6.0) > 0.8)
    runs = [(a, b) for a, b in _runs(right) if b - a >= _EXTRA_FRAMES]
    if not runs:
        return span
    first, last = runs[0][0], runs[-1][1]
    start_s, end_s = span
    if foreign[:first].sum() >= _EXTRA_FRAMES:
        start_s = float(times_s[first] - HOP_S / 2)
    if foreign[last:].sum() >= _EXTRA_FRAMES:
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
    contiguous = before is not None and before.end_s is not None and start_s - before.end_s < _CONTIGUOUS_S
    earliest_s = before.start_s + 0.04 if before is not None and before.start_s is not None else 0.0
    attack = find_attack(
        heard.y,
        start_s,
        f0_hz=f0_hz,
        before_s=float(np.clip(start_s - earliest_s, 0.02, 0.09)),
        after_s=float(np.clip(end_s - start_s - 0.02, 0.02, 0.09)),
    )
    repeated = before_note is not None and before_note.midi == note.midi
    if repeated and contiguous and not _struck_again(heard, attack, start_s):
        return PlayedNote(note.index, None, None, None, 0, None, False, False)
    onset_s, clean = _onset(
        heard, midi, note, start_s=start_s, attack=attack, slurred=before_note if contiguous else None
    )
    cents, steady = _centre_cents(heard, midi - note.midi, onset_s, end_s)
    wrong = 0
    if cents is not None and abs(cents - tuning_cents) > WRONG_CENTS:
        wrong = round((cents - tuning_cents) / 100.0)
        held_on = before_note is not None and note.midi + wrong == before_note.midi
        if contiguous and held_on and _flux_near(heard, start_s) < _STRUCK_FLUX:
            return PlayedNote(note.index, None, None, None, 0, None, False, False)
    body = heard.frames_between(onset_s + 0.016, max(end_s, onset_s + 0.05))
    level_db = float(power_to_db(np.mean(db_to_power(heard.level_db[body])))) if body.stop > body.start else None
    return PlayedNote(note.index, onset_s, end_s, cents, wrong, level_db, clean, steady)


def _struck_again(heard: Heard, attack: Attack | None, start_s: float) -> bool:
    return (attack is not None and attack.rise_db >= 2.5) or _flux_near(heard, start_s) >= _STRUCK_FLUX


def _flux_near(heard: Heard, at_s: float) -> float:
    """Strength of the strongest attack within 60 ms."""
    return float(heard.flux[heard.frames_between(at_s - 0.06, at_s + 0.06)].max(initial=0.0))


def _onset(
    heard: Heard,
    midi: Floats,
    note: TimedNote,
    *,
    start_s: float,
    attack: Attack | None,
    slurred: TimedNote | None,
) -> tuple[float, bool]:
    """Start of a note in the take, and whether it stands clear of what went before.

    A clear attack is picked on the samples; a slur is where the pitch passes the middle between the two notes.
    """
    if attack is not None and attack.rise_db >= _CLEAN_RISE_DB:
        before = heard.frames_between(attack.at_s - 0.05, attack.at_s - 0.01)
        floor_db = float(heard.level_db[before].min()) if before.stop > before.start else heard.floor_db
        return attack.at_s, floor_db < heard.floor_db + _NEAR_FLOOR_DB
    if slurred is not None and slurred.midi != note.midi:
        middle = (slurred.midi + note.midi) / 2
        crossing_s = _crossing_s(heard, midi, start_s, middle, rising=note.midi > slurred.midi)
        if crossing_s is not None:
            return crossing_s, False
    if attack is not None and attack.clear:
        return attack.at_s, False
    return start_s, False


def _crossing_s(heard: Heard, midi: Floats, near_s: float, middle: float, *, rising: bool) -> float | None:
    frames = heard.frames_between(near_s - 0.08, near_s + 0.08)
    height = (midi[frames] - middle) * (1.0 if rising else -1.0)
    voiced = heard.track.voiced[frames]
    at = np.flatnonzero((height[:-1] < 0) & (height[1:] >= 0) & voiced[:-1] & voiced[1:])
    if not at.size:
        return None
    times_s = heard.track.times_s[frames]
    i = int(at[np.argmin(np.abs(times_s[at] - near_s))])
    if height[i + 1] - height[i] > 14.0:
        return None
    return float(times_s[i] + HOP_S * -height[i] / (height[i + 1] - height[i]))


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
    width = min(_CYCLE_FRAMES, len(close))
    smooth = np.convolve(close, np.ones(width) / width, mode="valid")
    return float(np.median(smooth)), len(close) >= 6 and len(close) >= 0.6 * len(values)
