"""A drum kit played softly: brushes, kick, hats, ride, and the patterns of a 12/8 ballad; also the count-in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import signal

from obbligato.demo.song import Groove, Song
from obbligato.demo.tones import Signal, add_at, band_noise, faded

_PANS = {"kick": 0.0, "snare": -0.08, "brush": 0.15, "hat": -0.4, "ride": 0.45, "crash": 0.3, "tom": 0.35}
_SCATTER_MS = {"kick": 3.0, "snare": 4.0, "brush": 8.0, "hat": 4.0, "ride": 4.0, "crash": 3.0, "tom": 4.0}

_RIDE = ((0, 1.0), (2, 0.6), (3, 0.85), (5, 0.55), (6, 0.9), (8, 0.6), (9, 0.85), (11, 0.55))
_EIGHTHS = tuple((i, 1.0 if i % 3 == 0 else (0.72 if i % 3 == 2 else 0.5)) for i in range(12))
_PATTERNS: dict[Groove, dict[str, tuple[tuple[float, float], ...]]] = {
    "light": {
        "kick": ((0, 0.7), (6, 0.45)),
        "brush": ((0, 0.5), (3, 0.9), (6, 0.5), (9, 0.9)),
        "hat": tuple((i, 0.6 * v) for i, v in _EIGHTHS if i % 3 != 1),
    },
    "verse": {
        "kick": ((0, 0.85), (6, 0.65), (8, 0.3)),
        "snare": ((3, 0.55), (9, 0.6)),
        "brush": ((0, 0.45), (3, 0.6), (6, 0.45), (9, 0.6)),
        "hat": tuple((i, 0.75 * v) for i, v in _EIGHTHS),
    },
    "chorus": {
        "kick": ((0, 1.0), (5, 0.5), (6, 0.85), (11, 0.4)),
        "snare": ((3, 0.85), (9, 0.9), (10.5, 0.12)),
        "ride": _RIDE,
        "hat": ((3, 0.5), (9, 0.5)),
    },
    "stop": {},
    "last": {
        "kick": ((0, 0.8), (6, 0.6)),
        "snare": ((3, 0.5), (9, 0.5)),
        "ride": tuple((i, 0.7 * v) for i, v in _RIDE),
    },
}
"""Strokes of each groove: eighth within the bar from 0, and strength."""

_FILL = ((6, "snare", 0.4), (7, "tom", 0.5), (8, "tom", 0.65), (9, "snare", 0.9), (10, "tom", 0.7), (11, "tom", 0.8))
_PICK_UP = ((10, "snare", 0.35), (11, "snare", 0.5))


@dataclass(frozen=True)
class Stroke:
    """One stroke of the kit."""

    onset_beat: float
    piece: str
    strength: float


def strokes(song: Song) -> tuple[Stroke, ...]:
    """All strokes of a song in 12/8, from the pick-up before bar 1 to the last hit."""
    found = [Stroke((eighth - 12) / 3.0, piece, v) for eighth, piece, v in _PICK_UP]
    for i, section in enumerate(song.sections):
        following = song.sections[i + 1] if i + 1 < len(song.sections) else None
        for k in range(section.bars):
            start = (section.first_bar + k - 1) * song.meter.beats_per_bar
            last_bar = k == section.bars - 1
            if section.groove == "stop" or (last_bar and following is None):
                if k == 0 or following is None:
                    found += [Stroke(start, "kick", 1.0), Stroke(start, "crash", 0.5)]
                if section.groove == "stop" and last_bar:
                    found += [Stroke(start + e / 3.0, p, v) for e, p, v in _FILL if e >= 9]
                continue
            filling = last_bar and following is not None and following.groove == "chorus"
            for piece, pattern in _PATTERNS[section.groove].items():
                found += [Stroke(start + e / 3.0, piece, v) for e, v in pattern if not (filling and e >= 6)]
            if filling:
                found += [Stroke(start + e / 3.0, p, v) for e, p, v in _FILL]
            if k == 0 and section.groove == "chorus":
                found.append(Stroke(start, "crash", 0.8))
    return tuple(sorted(found, key=lambda s: s.onset_beat))


def play_drums(song: Song, *, n_samples: int, sr: int, rng: np.random.Generator) -> Signal:
    """The kit in stereo, shape (2, n_samples), dry; each stroke a few milliseconds early or late."""
    out = np.zeros((2, n_samples))
    played = strokes(song)
    kit = {piece: [_PIECES[piece](sr, rng) for _ in range(4)] for piece in sorted({s.piece for s in played})}
    for stroke in played:
        scatter_s = _SCATTER_MS[stroke.piece] / 1000.0 * float(np.clip(rng.standard_normal(), -2.0, 2.0))
        at_s = float(song.grid.beat_to_sec(stroke.onset_beat)) + scatter_s
        hit = kit[stroke.piece][int(rng.integers(4))] * stroke.strength * (1.0 + 0.06 * rng.standard_normal())
        add_at(out, _panned(hit, _PANS[stroke.piece]), at_s, sr=sr)
    return out


def count_in(song: Song, *, n_samples: int, sr: int) -> Signal:
    """The count-in alone, in stereo: one woody click on each beat, the first of a bar higher."""
    out = np.zeros((2, n_samples))
    n_clicks = song.count_in_bars * song.meter.beats_per_bar
    for i in range(n_clicks):
        pitch = 1760.0 if i % song.meter.beats_per_bar == 0 else 1320.0
        t = np.arange(round(0.06 * sr)) / sr
        click = np.exp(-t / 0.009) * (np.sin(2 * np.pi * pitch * t) + 0.4 * np.sin(2 * np.pi * 2.71 * pitch * t))
        add_at(out, _panned(0.5 * click, 0.0), float(song.grid.beat_to_sec(i - n_clicks)), sr=sr)
    return out


def _panned(y: Signal, pan: float) -> Signal:
    """Mono to stereo at constant power; `pan` from -1 (left) to 1 (right)."""
    angle = (pan + 1.0) * np.pi / 4.0
    return np.stack([np.cos(angle) * y, np.sin(angle) * y])


def _kick(sr: int, rng: np.random.Generator) -> Signal:
    t = np.arange(round(0.4 * sr)) / sr
    hz = 49.0 + 60.0 * np.exp(-t / 0.018)
    body = np.sin(2 * np.pi * np.cumsum(hz) / sr) * np.exp(-t / 0.11)
    beater = band_noise(t.size, 1200.0, 4500.0, sr=sr, rng=rng) * np.exp(-t / 0.004)
    return faded(0.75 * body + 0.06 * beater, in_s=0.0008, out_s=0.05, sr=sr)


def _snare(sr: int, rng: np.random.Generator) -> Signal:
    t = np.arange(round(0.35 * sr)) / sr
    head = np.sin(2 * np.pi * 186.0 * t) * np.exp(-t / 0.05) + 0.6 * np.sin(2 * np.pi * 331.0 * t) * np.exp(-t / 0.03)
    wires = band_noise(t.size, 1500.0, 9000.0, sr=sr, rng=rng) * np.exp(-t / 0.075)
    return faded(0.22 * head + 0.14 * wires, in_s=0.0006, out_s=0.05, sr=sr)


def _brush(sr: int, rng: np.random.Generator) -> Signal:
    n = round(0.5 * sr)
    t = np.arange(n) / n
    sweep = np.sin(np.pi * t**0.6) ** 2
    return np.asarray(0.035 * band_noise(n, 2500.0, 8500.0, sr=sr, rng=rng) * sweep)


def _hat(sr: int, rng: np.random.Generator) -> Signal:
    t = np.arange(round(0.12 * sr)) / sr
    noise = band_noise(t.size, 7000.0, 15000.0, sr=sr, rng=rng) * np.exp(-t / (0.016 + 0.006 * rng.random()))
    return faded(0.085 * noise, in_s=0.0005, out_s=0.03, sr=sr)


def _cymbal(sr: int, rng: np.random.Generator, *, length_s: float, decay_s: float, wash: float) -> Signal:
    t = np.arange(round(length_s * sr)) / sr
    out = wash * band_noise(t.size, 3500.0, 14000.0, sr=sr, rng=rng) * np.exp(-t / decay_s)
    for hz in rng.uniform(2300.0, 9000.0, 14):
        out += 0.12 * np.sin(2 * np.pi * (hz * t + rng.random())) * np.exp(-t / (decay_s * rng.uniform(0.4, 1.2)))
    return faded(out, in_s=0.001, out_s=0.1, sr=sr)


def _ride(sr: int, rng: np.random.Generator) -> Signal:
    ping = band_noise(round(0.02 * sr), 4000.0, 12000.0, sr=sr, rng=rng)
    out = 0.07 * _cymbal(sr, rng, length_s=0.9, decay_s=0.22, wash=0.45)
    add_at(out, faded(ping, in_s=0.0005, out_s=0.015, sr=sr), 0.0, sr=sr, gain=0.09)
    return out


def _crash(sr: int, rng: np.random.Generator) -> Signal:
    return 0.2 * _cymbal(sr, rng, length_s=3.2, decay_s=0.75, wash=0.7)


def _tom(sr: int, rng: np.random.Generator) -> Signal:
    t = np.arange(round(0.45 * sr)) / sr
    hz = 98.0 * (1.0 + 0.25 * np.exp(-t / 0.03)) * (1.0 + 0.02 * rng.standard_normal())
    skin = band_noise(t.size, 400.0, 3000.0, sr=sr, rng=rng) * np.exp(-t / 0.012)
    sos = signal.butter(1, 60.0, "highpass", fs=sr, output="sos")
    body = np.sin(2 * np.pi * np.cumsum(hz) / sr) * np.exp(-t / 0.12) + 0.15 * skin
    return faded(0.4 * np.asarray(signal.sosfilt(sos, body), dtype=np.float64), in_s=0.001, out_s=0.05, sr=sr)


_PIECES: dict[str, Callable[[int, np.random.Generator], Signal]] = {
    "kick": _kick,
    "snare": _snare,
    "brush": _brush,
    "hat": _hat,
    "ride": _ride,
    "crash": _crash,
    "tom": _tom,
}
