"""What steps across a seam in the sound itself: tone, polarity, and how alike the two takes are in the fade.

Polarity cannot be had from the correlation of two performances. But the wave of a reed, a lip or a bow is lopsided:
its skewness keeps its sign from note to note, and turns with the polarity (Drugman and Dutoit, "Oscillating
statistical moments for speech polarity detection", NOLISP 2011, use the moments of voices so). Only where the two
takes agree, or disagree, about nearly all notes is anything said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from obbligato.sound.audio import Audio, Samples
from obbligato.sound.shape import correlation
from obbligato.takes.partials import Floats
from obbligato.takes.readings import Seam, TimedLine, TimedNote
from obbligato.units import power_to_db

_DULL_HZ, _BRIGHT_HZ = (200.0, 1500.0), (1500.0, 8000.0)
_AROUND_S = 6.0
_FRAME = 2048
_MIDDLE_S = 0.2
_SILENT = 1e-12
_SURE, _STANDARD_ERRORS, _LEAST_NOTES = 0.6, 3.0, 8
_ALIKE, _UNLIKE = 0.95, 0.1


@dataclass(frozen=True, eq=False)
class Side:
    """What is kept of one take at one seam, so that the takes need not be in memory together.

    Attributes
    ----------
    fade
        The samples of the fade, shape (channels, n).
    tilt_db
        Treble over bass on the notes around the seam; None where the take does not sound there.
    skewness
        Of every note of the line, shape (n_notes,).
    """

    fade: Samples
    tilt_db: float | None
    skewness: Floats


def fade_span(seam: Seam, *, sr: int, n_samples: int) -> tuple[int, int]:
    """The samples of a seam's fade, as (first, one past the last)."""
    at, fade = round(seam.at_s * sr), round(seam.fade_ms * sr / 1e3)
    first = at - fade // 2
    return max(0, min(first, n_samples)), max(0, min(first + fade, n_samples))


def sides(y: Samples, seams: Sequence[Seam], line: TimedLine | None, *, sr: int) -> tuple[Side, ...]:
    """What is kept of a take on the guide's time at each of these seams; only the fades where there is no line."""
    skewness = _skewness_by_note(y, line, sr=sr) if line is not None and seams else np.zeros(0)
    kept = []
    for seam in seams:
        first, last = fade_span(seam, sr=sr, n_samples=y.shape[1])
        notes = [n for n in line.notes if abs(n.start_s - seam.at_s) < _AROUND_S] if line is not None else []
        kept.append(Side(np.array(y[:, first:last]), _tilt_db(y, notes, sr=sr), skewness))
    return tuple(kept)


def with_steps(seam: Seam, before: Side, after: Side, *, sr: int) -> Seam:
    """A seam with tone (positive: it becomes brighter), polarity, correlation and the law of the fade measured."""
    alike = 0.0
    if before.fade.size:
        fades = [Audio(side.fade.mean(axis=0, keepdims=True), sr) for side in (before, after)]
        alike = float(np.clip(correlation(*fades), -1.0, 1.0))
    tilts = before.tilt_db, after.tilt_db
    return replace(
        seam,
        tone_step_db=None if tilts[0] is None or tilts[1] is None else tilts[1] - tilts[0],
        polarity=_polarity(before.skewness, after.skewness),
        law="equal_gain" if alike >= _ALIKE else "equal_power" if alike <= _UNLIKE else "by_correlation",
        correlation=alike,
    )


def _tilt_db(y: Samples, notes: Sequence[TimedNote], *, sr: int) -> float | None:
    """Level of the treble over that of the bass, mean over the frames of the notes; None where there is no sound."""
    parts = [_frames(y[:, max(0, round(n.start_s * sr)) : max(0, round(n.end_s * sr))]) for n in notes]
    frames = np.concatenate(parts) if parts else np.zeros((0, _FRAME))
    if not len(frames) or float(np.mean(frames**2)) < _SILENT:
        return None
    power = (np.abs(np.fft.rfft(frames * np.hanning(_FRAME), axis=1)) ** 2).mean(axis=0)
    hz = np.fft.rfftfreq(_FRAME, 1.0 / sr)
    dull, bright = (power[(hz >= low) & (hz < high)].sum() for low, high in (_DULL_HZ, _BRIGHT_HZ))
    return float(power_to_db(bright)) - float(power_to_db(dull))


def _frames(y: Samples) -> Floats:
    """A stretch as frames one after another, shape (n_frames, `_FRAME`); the rest is left out."""
    n = y.shape[1] // _FRAME
    return np.asarray(y[:, : n * _FRAME].mean(axis=0, dtype=np.float64).reshape(n, _FRAME))


def _skewness_by_note(y: Samples, line: TimedLine, *, sr: int) -> Floats:
    """Skewness of the wave over the middle of each note, shape (n_notes,); 0 where there is no sound."""
    skewness = np.zeros(len(line.notes))
    for i, note in enumerate(line.notes):
        half_s = min(_MIDDLE_S, note.end_s - note.start_s) / 2
        middle_s = (note.start_s + note.end_s) / 2
        first, last = (max(0, round(t * sr)) for t in (middle_s - half_s, middle_s + half_s))
        part = y[:, first:last].mean(axis=0, dtype=np.float64)
        if part.size:
            part -= part.mean()
            squares = part * part
            power = float(squares.mean())
            skewness[i] = float(np.dot(squares, part)) / len(part) / power**1.5 if power > _SILENT else 0.0
    return skewness


def _polarity(left: Floats, right: Floats) -> str:
    """Whether two takes are lopsided the same way, by the cosine of the angle between their skewnesses."""
    both = (left != 0.0) & (right != 0.0)
    n = int(both.sum())
    if n < _LEAST_NOTES:
        return "unknown"
    a, b = left[both], right[both]
    alike = float(np.dot(a, b) / np.sqrt(np.dot(a, a) * np.dot(b, b)))
    if abs(alike) < max(_SURE, _STANDARD_ERRORS / np.sqrt(n)):
        return "unknown"
    return "same" if alike > 0.0 else "turned"


def seam_words(seam: Seam) -> str:
    """What steps across a seam, in words."""
    words = [
        f"level {seam.level_step_db:+.1f} dB",
        f"pitch {seam.pitch_step_cents:+.0f} cents",
        f"noise {seam.noise_step_db:+.1f} dB",
    ]
    if seam.tone_step_db is not None:
        words.append(f"tone {seam.tone_step_db:+.1f} dB")
    if seam.polarity == "turned":
        words.append("the polarity of one is turned")
    return ", ".join(words)
