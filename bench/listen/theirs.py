"""A straightforward pipeline of librosa beside: its default beat tracker, key by correlation, chords by templates."""

from __future__ import annotations

import librosa
import numpy as np

from obbligato.sound.audio import Audio

from .measures import beat_scores, chord_scores, key_scores, tempo_ratio
from .spec import Truth

_MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
_MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""Krumhansl and Kessler's profiles (1982), from memory."""

_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_TRIADS = {f"{_NAMES[r]}:{q}": [(r + k) % 12 for k in steps] for r in range(12)
           for q, steps in (("maj", (0, 4, 7)), ("min", (0, 3, 7)))}  # fmt: skip


def librosa_pipeline(audio: Audio) -> dict[str, object]:
    """Tempo, beats, key, chords and tuning of a song."""
    y = librosa.resample(audio.mono(), orig_sr=audio.sr, target_sr=22050)
    bpm, beats_s = librosa.beat.beat_track(y=y, sr=22050, units="time")
    cents = 100.0 * float(librosa.estimate_tuning(y=y, sr=22050))
    chroma = librosa.feature.chroma_cqt(y=y, sr=22050)
    frames = librosa.time_to_frames(beats_s, sr=22050)
    synced = librosa.util.sync(chroma, frames, aggregate=np.median)
    bounds = np.concatenate([[0.0], beats_s, [audio.duration_s]])[: synced.shape[1] + 1]
    return {
        "bpm": float(np.ravel(bpm)[0]),
        "beats_s": [float(b) for b in beats_s],
        "cents": cents,
        "key": _key(chroma.mean(axis=1)),
        "chords": _chords(synced, bounds),
    }


def scored(found: dict, truth: Truth) -> dict[str, float]:
    """The measures that the pipeline can be held to."""
    out = beat_scores(np.asarray(found["beats_s"]), truth)
    ratio = tempo_ratio(found["bpm"], truth)
    out["octave"] = float(ratio == 1.0 and abs(found["bpm"] / truth.bpm - 1.0) < 0.1)
    if truth.steady:
        out["bpm error"] = abs(found["bpm"] / ratio - truth.bpm)
    if truth.has_pitch:
        out["tuning"] = abs(found["cents"] - truth.cents)
    out |= key_scores(tuple(found["key"]), truth)
    return out | chord_scores([tuple(c) for c in found["chords"]], truth)


def _key(chroma: np.ndarray) -> tuple[str, str]:
    scores = {
        (_NAMES[r], mode): np.corrcoef(np.roll(profile, r), chroma)[0, 1]
        for r in range(12)
        for mode, profile in (("major", _MAJOR), ("minor", _MINOR))
    }
    return max(scores, key=lambda k: scores[k])


def _chords(chroma: np.ndarray, bounds: np.ndarray) -> list[tuple[float, float, str]]:
    labels = list(_TRIADS)
    templates = np.array([[float(pc in _TRIADS[label]) for pc in range(12)] for label in labels])
    best = np.argmax(templates @ chroma, axis=0)
    spans = zip(bounds[:-1], bounds[1:], best, strict=False)
    return [(float(a), float(b), labels[i]) for a, b, i in spans if b - a > 1e-6]
