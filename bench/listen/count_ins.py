"""Count-ins: where their clicks are and how they sound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.demo.song import SungNote, Syllable
from obbligato.demo.tones import add_at
from obbligato.demo.voice import VoiceStyle, sing
from obbligato.music.grid import Grid

COUNT_INS = (
    "none",
    "one bar",
    "two bars",
    "halves",
    "pick-up",
    "sticks",
    "beep",
    "spoken",
    "other tempo",
)
WRONG_TEMPO = 1.08
"""How much longer the steps of the count-in on a different tempo are."""


@dataclass(frozen=True)
class Click:
    """A click: beats from bar 1 (negative) and whether it is the first of its bar."""

    beat: float
    first: bool


def clicks(kind: str, per_bar: int) -> list[Click]:
    """The clicks of a count-in; short bars (2 beats) are counted twice as long."""
    if kind == "none":
        return []
    bars = (2 if kind in ("two bars", "halves") else 1) * (2 if per_bar == 2 else 1)
    beats = list(range(-bars * per_bar, 0))
    if kind == "halves":
        first_half = [b for b in beats if b < -bars * per_bar // 2]
        beats = first_half[::2] + [b for b in beats if b >= -bars * per_bar // 2]
    stretch = WRONG_TEMPO if kind == "other tempo" else 1.0
    return [Click(b * stretch, b % per_bar == 0) for b in beats]


def sound(kind: str, marks: list[Click], grid: Grid, *, n: int, sr: int, seed: int) -> np.ndarray:
    """The clicks as mono sound, shape (n,), with a peak of about 1."""
    rng = np.random.default_rng([seed, 3])
    out = np.zeros(n)
    if not marks:
        return out
    if kind == "spoken":
        return _spoken(marks, grid, n=n, sr=sr, rng=rng)
    for mark in marks:
        at = float(grid.beat_to_sec(mark.beat)) + (0.006 * rng.standard_normal() if kind == "sticks" else 0.0)
        add_at(out, _click(kind, mark.first, sr, rng), at, sr=sr)
    return out


def _click(kind: str, first: bool, sr: int, rng: np.random.Generator) -> np.ndarray:
    t = np.arange(round(0.09 * sr)) / sr
    if kind == "beep":
        return np.sin(2 * np.pi * (1760.0 if first else 880.0) * t) * np.clip((0.06 - t) / 0.004, 0, 1)
    if kind == "sticks":
        ring = np.sin(2 * np.pi * 2900.0 * t) + 0.6 * np.sin(2 * np.pi * 4700.0 * t)
        return (0.6 * ring + 0.5 * rng.standard_normal(t.size)) * np.exp(-t / 0.008) * (0.9 + 0.1 * rng.random())
    hz = 1200.0 if first else 900.0
    return (np.sin(2 * np.pi * hz * t) + 0.3 * np.sin(2 * np.pi * 2.7 * hz * t)) * np.exp(-t / 0.015)


def _spoken(marks: list[Click], grid: Grid, *, n: int, sr: int, rng: np.random.Generator) -> np.ndarray:
    """Short falling syllables low in the voice, one for each count."""
    words = (("w", "@", "n"), ("t", "u", ""), ("r", "i", ""), ("f", "o", ""), ("f", "ai", "v"))
    lines = []
    for i, mark in enumerate(marks):
        onset, vowel, coda = words[i % len(words)]
        seconds = float(grid.beat_to_sec(mark.beat + 1.0) - grid.beat_to_sec(mark.beat))
        length = min(0.45, 0.22 / seconds)
        lines.append((
            SungNote(mark.beat, length * 0.5, 50, Syllable("a", onset, vowel, "")),
            SungNote(mark.beat + length * 0.5, length * 0.5, 47, Syllable("", "", "", coda)),
        ))  # fmt: skip
    style = VoiceStyle(tract_scale=1.0, vibrato_cents=0.0, behind_ms=0.0, scatter_ms=10.0, breath_db=-60.0)
    y, _ = sing(lines, grid, n_samples=n, sr=sr, a4_hz=440.0, rng=rng, style=style)
    return y / max(1e-9, float(np.abs(y).max()))
