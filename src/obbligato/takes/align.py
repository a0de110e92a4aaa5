"""Which stretch of a take is which note of the line.

A hidden Markov model in the order of the score, decoded by Viterbi: for each note a sounding state and a state of
rest after it; notes may be skipped, at a price. A frame speaks for a note by its pitch, for a rest by having none.
Entering a note is favoured at an attack and near its expected time. Wrong pitches stay with the note whose time they
take up, because any state only loses so much by a frame that does not fit.

References
----------
Orio and Déchelle, "Score following using spectral analysis and hidden Markov models", ICMC 2001.
Cont, "A coupled duration-focused architecture for real-time music-to-score alignment", IEEE Transactions on Pattern
Analysis and Machine Intelligence 32(6), 2010. (Both follow in real time; here the whole take is known, so one
backward pass suffices, and durations are left to the expected times of entry.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.takes.hearing import Heard
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S
from obbligato.takes.readings import TimedNote
from obbligato.units import hz_to_midi

_PITCH_SPREAD = 0.45
_NOTE_UNFIT = -2.5
_NOTE_SILENT = -3.0
_NOTE_UNVOICED = -1.2
_REST_VOICED = -4.0
_SKIP = -9.0
_NO_ATTACK = -3.0
_ENTRY_SCALE_S = 0.1
_ENTRY_WORST = -6.0
_QUIET_RANGE_DB = 35.0
_LONGEST_REACH_S = 1.2
_BREAK_S = 0.5


@dataclass(frozen=True)
class Found:
    """The stretch of a take where a note sounds, in seconds of the take (to a frame)."""

    index: int
    start_s: float
    end_s: float


def align(
    heard: Heard, notes: Sequence[TimedNote], expected_s: Floats, *, a4_hz: float, tuning_cents: float = 0.0
) -> dict[int, Found]:
    """Find the notes of a line in a take.

    Parameters
    ----------
    notes
        The notes in order.
    expected_s
        Where each would start in the take were it played to the letter, shape (n_notes,).
    a4_hz, tuning_cents
        The song's tuning, and the take's own tuning against it.

    Returns
    -------
    By note index; notes that were skipped are absent.
    """
    midi = hz_to_midi(np.maximum(heard.track.f0_hz, 1.0), a4_hz=a4_hz) - tuning_cents / 100.0
    found: dict[int, Found] = {}
    for first, last in _groups(notes):
        start_s = expected_s[first] - _reach_s(notes, first - 1, first)
        length_s = notes[last].end_s - notes[last].start_s
        end_s = expected_s[last] + length_s + _reach_s(notes, last, last + 1)
        frames = heard.frames_between(start_s, end_s)
        if frames.stop - frames.start < 2:
            continue
        group = notes[first : last + 1]
        path = _decode(
            *_evidence(heard, midi, frames, group, expected_s[first : last + 1]),
        )
        for i, note in enumerate(group):
            here = np.flatnonzero(path == 2 * i + 1)
            if here.size:
                at = frames.start + here
                found[note.index] = Found(note.index, float((at[0] - 0.5) * HOP_S), float((at[-1] + 0.5) * HOP_S))
    return found


def _groups(notes: Sequence[TimedNote]) -> list[tuple[int, int]]:
    """First and last positions of stretches without a long rest inside."""
    breaks = [i + 1 for i, (a, b) in enumerate(pairwise(notes)) if b.start_s - a.end_s >= _BREAK_S]
    edges = [0, *breaks, len(notes)]
    return [(a, b - 1) for a, b in pairwise(edges)]


def _reach_s(notes: Sequence[TimedNote], before: int, after: int) -> float:
    if before < 0 or after >= len(notes):
        return _LONGEST_REACH_S
    return min(_LONGEST_REACH_S, (notes[after].start_s - notes[before].end_s) / 2)


def _evidence(
    heard: Heard, midi: Floats, frames: slice, group: Sequence[TimedNote], expected_s: Floats
) -> tuple[Floats, Floats]:
    """Log-likelihood of each state in each frame, and of entering each note there."""
    times_s = heard.track.times_s[frames]
    voiced = heard.track.voiced[frames]
    level_db = heard.level_db[frames]
    loud_db = float(np.percentile(level_db, 90))
    quietest_db = max(heard.floor_db + 6.0, loud_db - _QUIET_RANGE_DB)
    sounding = level_db > quietest_db
    pitches = np.array([note.midi for note in group], dtype=np.float64)
    distance = np.abs(midi[frames][None, :] - pitches[:, None])
    fit = np.log(np.exp(-0.5 * (distance / _PITCH_SPREAD) ** 2) + np.exp(_NOTE_UNFIT))
    silent = np.where(sounding, _NOTE_UNVOICED, _NOTE_SILENT)
    states = np.zeros((2 * len(group) + 1, len(times_s)))
    states[1::2] = np.where(voiced & sounding, fit, silent)
    audible = np.clip((level_db - quietest_db) / 12.0, 0.0, 1.0)
    states[0::2] = np.where(voiced, _REST_VOICED * audible, -0.8 * audible)
    flux = heard.flux[frames]
    around = np.maximum(flux, np.maximum(np.append(flux[1:], 0.0), np.concatenate([[0.0], flux[:-1]])))
    attack = _NO_ATTACK * (1.0 - np.clip(around / 0.6, 0.0, 1.0))
    lateness = np.abs(times_s[None, :] - expected_s[:, None]) / _ENTRY_SCALE_S
    changes = np.diff(pitches, prepend=-100.0) != 0
    entry = np.maximum(-lateness, _ENTRY_WORST) + np.where(changes[:, None], 0.4, 1.0) * attack[None, :]
    return states, entry


def _decode(states: Floats, entry: Floats) -> NDArray[np.int64]:
    """The best path; state 0 is the rest before the first note, 2i+1 is note i, 2i+2 the rest after it."""
    n_states, n_frames = states.shape
    n_notes = (n_states - 1) // 2
    steps = np.zeros((n_frames, n_states), dtype=np.int8)
    is_note = np.arange(n_states) % 2 == 1
    entries = np.zeros((n_frames, n_states))
    entries[:, is_note] = entry.T
    # Steps back: 1 from the rest before (or the note, into its rest), 2 from the note before, 3 to 6 skipping notes.
    cost = np.zeros((7, n_states))
    cost[2:, ~is_note] = -np.inf
    cost[3:5, is_note], cost[5:7, is_note] = _SKIP, 2 * _SKIP
    score = np.full(n_states + 6, -np.inf)
    score[6] = states[0, 0]
    for back in (1, 3, 5):
        if back < n_states:
            score[6 + back] = states[back, 0] + entries[0, back] + _SKIP * (back // 2)
    from_back = np.lib.stride_tricks.sliding_window_view(score, n_states)[::-1]
    options, every = np.empty((7, n_states)), np.arange(n_states)
    for t in range(1, n_frames):
        np.add(from_back, cost, out=options)
        options[1:] += entries[t]
        best = options.argmax(axis=0)
        steps[t] = best
        score[6:] = options[best, every] + states[:, t]
    left_out = n_notes - (np.arange(n_states) + 1) // 2
    state = int(np.argmax(score[6:] + _SKIP * left_out))
    path = np.empty(n_frames, dtype=np.int64)
    for t in range(n_frames - 1, -1, -1):
        path[t] = state
        state -= int(steps[t, state])
    return path
