"""Sections: where the form turns, and which stretches are the same music again.

Each bar is described by its harmony (pitch classes about the tonic in force, so that a chorus a tone higher is the
same chorus), its level and whether somebody sings. Between bars that differ before and after, novelty is high
(Foote 2000: a checkerboard slid along the self-similarity of the bars). The form is the way of cutting the song
into stretches that gathers the most novelty at its cuts, where stretches of eight and four bars cost least (common
practice, no source). Stretches whose bars are alike one by one get the same letter.

References
----------
J. Foote: Automatic audio segmentation using a measure of audio novelty. Proc. ICME, 2000, pages 452-455.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BeatChroma
from obbligato.music.grid import Grid
from obbligato.music.harmony import pitch_class
from obbligato.music.spans import KeySpan, SectionSpan, Span

Array = NDArray[np.float64]

_KERNEL_BARS = 4
_LENGTH_COST = {8: 0.0, 4: 0.2, 16: 0.35, 12: 0.3, 6: 0.45, 10: 0.5, 2: 0.6}
_OTHER_LENGTH_COST = 0.8
_LONGEST_BARS = 16
_VOICE_WEIGHT = 1.0
_LEVEL_DB_UNIT = 6.0
"""A step in level of this many dB counts as much as a singer entering."""

_SAME = 0.86
"""How alike, from 0 to 1, two stretches must be to share a letter."""


def find_sections(
    chroma: BeatChroma, grid: Grid, *, keys: Sequence[KeySpan], voice: Sequence[Span]
) -> tuple[SectionSpan, ...]:
    """Sections in whole bars from bar 1 to the last sounding bar.

    Labels are letters in order of appearance; the same music again is the same letter with a number (`B`, `B2`).
    """
    bars, harmony, rest = _describe(chroma, grid, keys, voice)
    if bars.size == 0:
        return ()
    cuts = _cuts(_novelty(harmony, rest))
    labels = _letters(harmony, rest, cuts)
    times = [grid.bar_to_sec(int(bars[0]) + cut) for cut in cuts]
    return tuple(SectionSpan(a, b, label) for (a, b), label in zip(pairwise(times), labels, strict=True))


def _describe(
    chroma: BeatChroma, grid: Grid, keys: Sequence[KeySpan], voice: Sequence[Span]
) -> tuple[NDArray[np.intp], Array, Array]:
    """Bar numbers from 1, harmony of each bar (n_bars, 24) with unit norm, and (level, voice) of each (n_bars, 2)."""
    per_bar = grid.meter.beats_per_bar
    bar_of_beat = np.floor(np.round(chroma.beats) / per_bar).astype(np.intp) + 1
    sounding = bar_of_beat[chroma.upper.any(axis=1) & (bar_of_beat >= 1)]
    if sounding.size == 0:
        return np.zeros(0, dtype=np.intp), np.zeros((0, 24)), np.zeros((0, 2))
    bars = np.arange(1, sounding.max() + 1)
    harmony, rest = np.zeros((bars.size, 24)), np.zeros((bars.size, 2))
    for i, bar in enumerate(bars):
        start_s, end_s = grid.bar_to_sec(int(bar)), grid.bar_to_sec(int(bar) + 1)
        here = bar_of_beat == bar
        if here.any():
            tonic = _tonic_at(keys, 0.5 * (start_s + end_s))
            folded = [np.roll(c[here].mean(axis=0), -tonic) for c in (chroma.upper, chroma.bass)]
            harmony[i] = np.concatenate(folded)
            rest[i, 0] = max(-30.0, float(chroma.level_db[here].mean())) / _LEVEL_DB_UNIT
        rest[i, 1] = _VOICE_WEIGHT * _overlap(voice, start_s, end_s)
    norm = np.linalg.norm(harmony, axis=1, keepdims=True)
    return bars, harmony / np.where(norm > 0.0, norm, 1.0), rest


def _tonic_at(keys: Sequence[KeySpan], at_s: float) -> int:
    in_force = [key for key in keys if key.start_s <= at_s]
    return pitch_class(in_force[-1].tonic) if in_force else 0


def _overlap(spans: Sequence[Span], start_s: float, end_s: float) -> float:
    """Share of a stretch that the spans cover."""
    covered = sum(max(0.0, min(s.end_s, end_s) - max(s.start_s, start_s)) for s in spans)
    return covered / (end_s - start_s)


def _alike(harmony: Array, rest: Array) -> Array:
    """Likeness of every two bars, 0 to 1, shape (n_bars, n_bars)."""
    distance = np.linalg.norm(rest[:, None] - rest[None, :], axis=2)
    return np.asarray(0.5 * harmony @ harmony.T + 0.5 * np.exp(-distance))


def _novelty(harmony: Array, rest: Array) -> Array:
    """How different the bars before and after each bar line are, scaled to a highest of 1; shape (n_bars,)."""
    alike = _alike(harmony, rest)
    n = alike.shape[0]
    novelty = np.zeros(n)
    for i in range(1, n):
        k = min(_KERNEL_BARS, i, n - i)
        before, after = slice(i - k, i), slice(i, i + k)
        within = 0.5 * (alike[before, before].mean() + alike[after, after].mean())
        novelty[i] = max(0.0, within - alike[before, after].mean()) * (k / _KERNEL_BARS) ** 0.5
    return novelty / max(float(novelty.max()), 1e-9)


def _cuts(novelty: Array) -> list[int]:
    """Bar lines (0 is the first) that cut the song up best, the two ends included."""
    n = novelty.size
    best = np.full(n + 1, -np.inf)
    best[0] = 0.0
    came_from = np.zeros(n + 1, dtype=np.intp)
    for end in range(1, n + 1):
        for start in range(max(0, end - _LONGEST_BARS), end):
            gain = float(novelty[end]) if end < n else 0.0
            value = best[start] + gain - _LENGTH_COST.get(end - start, _OTHER_LENGTH_COST)
            if value > best[end]:
                best[end], came_from[end] = value, start
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(int(came_from[cuts[-1]]))
    return cuts[::-1]


def _letters(harmony: Array, rest: Array, cuts: list[int]) -> list[str]:
    alike = _alike(harmony, rest)
    heads: list[tuple[int, int]] = []
    counts: list[int] = []
    labels = []
    for first, after in pairwise(cuts):
        likeness = [_stretch_likeness(alike, head, (first, after)) for head in heads]
        which = int(np.argmax(likeness)) if likeness else -1
        if which < 0 or likeness[which] < _SAME:
            which = len(heads)
            heads.append((first, after))
            counts.append(0)
        counts[which] += 1
        labels.append(_letter(which) + (str(counts[which]) if counts[which] > 1 else ""))
    return labels


def _stretch_likeness(alike: Array, one: tuple[int, int], other: tuple[int, int]) -> float:
    """Mean likeness bar by bar; stretches of different lengths are not the same section."""
    lengths = one[1] - one[0], other[1] - other[0]
    if lengths[0] != lengths[1]:
        return 0.0
    return float(np.mean([alike[one[0] + i, other[0] + i] for i in range(lengths[0])]))


def _letter(index: int) -> str:
    return chr(ord("A") + index % 26) * (1 + index // 26)
