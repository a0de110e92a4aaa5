"""Singers: the demo's (harmonics through formants) in several builds, and one of another make (`pulses`).

Neither is a recording; real singers differ more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.demo.song import SungNote
from obbligato.demo.voice import VoiceStyle, sing
from obbligato.music.grid import Grid

from .pulses import pulses


@dataclass(frozen=True)
class Singer:
    """A singer: lowest note, the demo's style or (None) the pulses with a tract scale, and backing voices."""

    lowest: int
    style: VoiceStyle | None
    tract: float = 1.0
    backing: bool = False


SINGERS: dict[str, Singer | None] = {
    "none": None,
    "alto": Singer(57, VoiceStyle()),
    "tenor": Singer(50, VoiceStyle(tract_scale=0.98, tilt=0.7, vibrato_hz=5.0, behind_ms=18.0)),
    "soft": Singer(59, VoiceStyle(tract_scale=1.15, tilt=1.15, vibrato_cents=10.0, breath_db=-22.0, behind_ms=40.0)),
    "wide": Singer(62, VoiceStyle(tract_scale=1.2, tilt=0.65, vibrato_hz=6.2, vibrato_cents=70.0)),
    "pulses low": Singer(48, None, tract=0.95),
    "pulses high": Singer(60, None, tract=1.18),
    "backed": Singer(57, VoiceStyle(tract_scale=1.08), backing=True),
    "backed low": Singer(50, None, tract=1.0, backing=True),
}


def perform(
    singer: Singer, lines: list[tuple[SungNote, ...]], grid: Grid, *, n: int, sr: int, a4_hz: float, seed: int
):
    """The singing in stereo, shape (2, n), and its spans in seconds."""
    rng = np.random.default_rng([seed, 2])
    if singer.style is not None:
        dry, sung = sing(lines, grid, n_samples=n, sr=sr, a4_hz=a4_hz, rng=rng, style=singer.style)
        spans = [(s.start_s, s.end_s) for s in sung]
    else:
        dry, spans = pulses(lines, grid, n=n, sr=sr, a4_hz=a4_hz, rng=rng, tract=singer.tract)
    out = np.stack([dry, dry])
    if singer.backing:
        for side, interval in ((0, 4), (1, 7)):
            other = [_moved(line, interval) for line in lines[len(lines) // 3 :]]
            style = VoiceStyle(tract_scale=1.0 + 0.15 * side, tilt=1.0, vibrato_cents=15.0)
            y, more = sing(other, grid, n_samples=n, sr=sr, a4_hz=a4_hz, rng=rng, style=style)
            out[side] += 0.4 * y
            out[1 - side] += 0.15 * y
            spans += [(s.start_s, s.end_s) for s in more]
    return out, joined(spans)


def joined(spans: list[tuple[float, float]], *, gap_s: float = 0.25) -> list[tuple[float, float]]:
    """Spans in order, those less than `gap_s` apart made one."""
    out: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if out and start - out[-1][1] < gap_s:
            out[-1] = (out[-1][0], max(end, out[-1][1]))
        else:
            out.append((start, end))
    return out


def _moved(line: tuple[SungNote, ...], semitones: int) -> tuple[SungNote, ...]:
    return tuple(SungNote(n.onset_beat, n.duration_beats, n.pitch + semitones, n.syllable) for n in line)
