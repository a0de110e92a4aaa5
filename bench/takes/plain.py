"""The plain pipeline beside ours: librosa's pyin, its pitch warped to the line's by DTW, medians per note.

Pitch of a note is the median over the frames that DTW gives it, its start the first of them; it is played when more
than half of these are voiced and within 50 cents; the take's offset is the median lateness of its notes.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import librosa
import numpy as np

from obbligato.sound.audio import Audio
from obbligato.takes.readings import TimedLine

_SR, _HOP = 22050, 220


@dataclass(frozen=True)
class PlainNote:
    """A note as read: played or not, its start in the take (seconds), cents from the written pitch."""

    index: int
    played: bool
    start_s: float
    cents: float


@dataclass(frozen=True)
class Plain:
    """A take as read; where it lies on the guide's time, and the processor's seconds."""

    notes: tuple[PlainNote, ...]
    offset_s: float
    busy_s: float


def read_plainly(take: Audio, line: TimedLine) -> Plain:
    """Read a take as one would with a library and an afternoon."""
    started = time.process_time()
    y = librosa.resample(take.mono(), orig_sr=take.sr, target_sr=_SR)
    pitches = [note.midi for note in line.notes]
    f0_hz, voiced, _ = librosa.pyin(
        y,
        fmin=float(librosa.midi_to_hz(min(pitches) - 5)),
        fmax=float(librosa.midi_to_hz(max(pitches) + 5)),
        sr=_SR,
        hop_length=_HOP,
    )
    midi = np.where(voiced, librosa.hz_to_midi(np.nan_to_num(f0_hz, nan=440.0)), 0.0)
    start_s = line.notes[0].start_s - 1.0
    n_line = int((line.notes[-1].end_s + 1.0 - start_s) * _SR / _HOP)
    wanted, owner = np.zeros(n_line), np.full(n_line, -1)
    for note in line.notes:
        here = slice(*(int((s - start_s) * _SR / _HOP) for s in (note.start_s, note.end_s)))
        wanted[here], owner[here] = note.midi, note.index
    cost = np.minimum(np.abs(wanted[:, None] - midi[None, :]), 6.0)
    _, path = librosa.sequence.dtw(C=cost)
    notes = tuple(_note(note.index, note.midi, path[::-1], owner, midi) for note in line.notes)
    late = [n.start_s - line.notes[n.index].start_s for n in notes if n.played]
    return Plain(notes, -float(np.median(late)) if late else 0.0, time.process_time() - started)


def _note(index: int, written: int, path: np.ndarray, owner: np.ndarray, midi: np.ndarray) -> PlainNote:
    frames = np.unique(path[owner[path[:, 0]] == index, 1])
    heard = midi[frames]
    right = heard[(heard > 0) & (np.abs(heard - written) < 0.5)] if frames.size else heard
    played = right.size > 0.5 * max(frames.size, 1)
    cents = 100.0 * float(np.median(right) - written) if right.size else 0.0
    return PlainNote(index, bool(played), float(frames[0] * _HOP / _SR) if frames.size else 0.0, cents)
