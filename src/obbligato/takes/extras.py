"""What was played that is not in the line: steady pitches that belong to none of the notes played around them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from obbligato.sound.runs import true_runs
from obbligato.takes.hearing import Heard
from obbligato.takes.notes import PlayedNote
from obbligato.takes.partials import Floats
from obbligato.units import hz_to_midi

_EXTRA_NOTE_FRAMES = 7
"""Shorter than 110 ms, an extra pitch is an ornament or a tail."""
_RELEASE_S, _TAIL_S, _TAIL_DB = 0.1, 0.6, 6.0
"""A note dies away at once and rings on in the room, but softer than it was played."""
_STEADY_RANGE, _STEADY_MOVE = 0.8, 0.25
_JUMP = 0.4
"""Semitones from one frame to the next that no vibrato moves by."""


@dataclass(frozen=True)
class ExtraNote:
    """Something pitched that is not in the line: seconds in the take, and sounding pitch."""

    start_s: float
    end_s: float
    midi: float


def find_extra_notes(
    heard: Heard, played: Sequence[PlayedNote], start_s: float, end_s: float, *, a4_hz: float
) -> tuple[ExtraNote, ...]:
    """Steady pitches between `start_s` and `end_s` that belong to none of the notes played there."""
    frames = heard.frames_between(start_s, end_s)
    if frames.stop - frames.start < _EXTRA_NOTE_FRAMES:
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
        near = (times_s > note.start_s - 0.1) & (times_s < note.end_s + _RELEASE_S)
        if note.level_db is not None:
            near |= (times_s >= note.end_s) & (times_s < note.end_s + _TAIL_S) & (level_db < note.level_db - _TAIL_DB)
        octaves = np.abs((midi - pitch + 6.0) % 12.0 - 6.0) < 0.8
        turning = (times_s > note.start_s - 0.02) & (times_s < note.start_s + 0.07)
        free &= ~(near & octaves) & ~turning
    return tuple(
        ExtraNote(float(times_s[a]), float(times_s[b - 1]), float(np.median(midi[a:b])))
        for a, b in _unbroken(free, midi)
        if b - a >= _EXTRA_NOTE_FRAMES and _steady(midi[a:b])
    )


def _unbroken(free: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], midi: Floats) -> list[tuple[int, int]]:
    """Runs of free frames, divided where the pitch jumps."""
    runs = []
    for first, last in true_runs(free):
        jumps = first + 1 + np.flatnonzero(np.abs(np.diff(midi[first:last])) > _JUMP)
        edges = [first, *(int(i) for i in jumps), last]
        runs += list(pairwise(edges))
    return runs


def _steady(midi: Floats) -> bool:
    """Whether a stretch of pitch stays where it is, as a note does, and is no fall, scoop or slide."""
    third = len(midi) // 3
    moved = abs(float(np.median(midi[-third:]) - np.median(midi[:third])))
    return bool(np.ptp(midi) < _STEADY_RANGE and moved < _STEADY_MOVE)


def _sounding(note: PlayedNote, midi: Floats, times_s: Floats) -> float:
    inside = (times_s >= (note.start_s or 0.0) + 0.04) & (times_s <= (note.end_s or 0.0))
    return float(np.median(midi[inside])) if inside.any() else -100.0
