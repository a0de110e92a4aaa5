"""How a song goes in time: seconds of its beats for each course of the tempo."""

from __future__ import annotations

import numpy as np

RITARDANDO_BARS = 4
STEADY = ("steady", "dropped beat")
"""Courses whose beats lie on one straight line as they are played; an edit may still drop a beat afterwards."""

DRIFTING = ("drift", "wander", "ritardando")
STEPPING = ("one change", "dropped beat", "pause")


def beat_times(course: str, bpm: float, n_before: int, n_beats: int, per_bar: int, *, head_s: float, seed: int):
    """Seconds of the beats from `-n_before` to `n_beats`, both included, the first of them at `head_s`.

    What comes before bar 1 goes at the tempo that bar 1 begins with.
    """
    speed = np.ones(n_before + n_beats)
    body = speed[n_before:]
    body *= _speed(course, n_beats, per_bar, np.random.default_rng([seed, 5]))
    speed[:n_before] = body[0]
    gaps = 60.0 / bpm / speed
    if course == "pause":
        gaps[n_before + _bar_at(n_beats, per_bar, 0.55) * per_bar - 1] += 1.3
    return head_s + np.concatenate([[0.0], np.cumsum(gaps)])


def _speed(course: str, n_beats: int, per_bar: int, rng: np.random.Generator) -> np.ndarray:
    beat = np.arange(n_beats, dtype=float)
    if course == "drift":
        return 1.0 + 0.025 * beat / n_beats
    if course == "wander":
        slow = np.interp(beat, np.arange(0, n_beats + 16, 16), rng.standard_normal(n_beats // 16 + 2))
        fast = np.convolve(rng.standard_normal(n_beats + 6), np.ones(6) / 6, mode="valid")[:n_beats]
        return 1.0 + 0.013 * slow + 0.006 * fast
    if course == "ritardando":
        last = RITARDANDO_BARS * per_bar
        return 1.0 - 0.4 * np.clip((beat - (n_beats - last)) / last, 0.0, 1.0) ** 1.2
    if course == "one change":
        return np.where(beat >= _bar_at(n_beats, per_bar, 0.5) * per_bar, 1.09, 1.0)
    return np.ones(n_beats)


def dropped_beat(n_beats: int, per_bar: int) -> int:
    """The beat that an edit drops: the last of a bar past the middle."""
    return _bar_at(n_beats, per_bar, 0.6) * per_bar - 1


def _bar_at(n_beats: int, per_bar: int, share: float) -> int:
    """A bar line at a share of the song, every fourth from the first."""
    return max(1, round(share * n_beats / per_bar / 4.0)) * 4
