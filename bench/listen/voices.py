"""Singers: the demo's (harmonics through formants) in several builds, and one of another make.

The other is a train of pulses, each of which rings the vowel's formants (X. Rodet, "Time-domain formant-wave-function
synthesis", 1984), with bursts of noise for consonants. Neither is a recording; real singers differ more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from obbligato.demo.phones import BANDWIDTHS_HZ, CONSONANTS, HIGHER_FORMANTS_HZ, VOWELS_HZ
from obbligato.demo.song import SungNote
from obbligato.demo.tones import add_at, band_noise, faded
from obbligato.demo.voice import VoiceStyle, sing
from obbligato.music.grid import Grid
from obbligato.units import midi_to_hz


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


def pulses(lines: list[tuple[SungNote, ...]], grid: Grid, *, n: int, sr: int, a4_hz: float, rng, tract: float):
    """Sing with formant waves; mono and the spans."""
    out = np.zeros(n)
    spans = []
    for line in lines:
        onsets = grid.beat_to_sec([note.onset_beat for note in line]) + 0.012 * rng.standard_normal(len(line)) + 0.015
        last_s = float(grid.beat_to_sec(line[-1].onset_beat + line[-1].duration_beats)) - 0.07
        bounds = np.maximum.accumulate(np.append(onsets, last_s))
        bounds[-1] = max(bounds[-1], bounds[-2] + 0.12)
        y, lead_s = _line(line, bounds, sr=sr, a4_hz=a4_hz, rng=rng, tract=tract)
        add_at(out, y, float(bounds[0]) - lead_s, sr=sr)
        first = CONSONANTS.get(line[0].syllable.onset)
        spans.append((float(bounds[0]) - (first.length_s if first else 0.0), float(bounds[-1]) + 0.03))
    return out, spans


def _line(line: tuple[SungNote, ...], bounds: np.ndarray, *, sr: int, a4_hz: float, rng, tract: float):
    lead_s = 0.2
    origin = bounds[0] - lead_s
    n = round((bounds[-1] - origin + 0.2) * sr)
    t = origin + np.arange(n) / sr
    which = np.clip(np.searchsorted(bounds, t, side="right") - 1, 0, len(line) - 1)
    pitch = np.array([note.pitch for note in line], dtype=float)[which]
    stay = np.exp(-1.0 / (0.03 * sr))
    glide = signal.lfilter([1.0 - stay], [1.0, -stay], pitch - pitch[0]) + pitch[0]
    since = t - bounds[which]
    vibrato = 0.3 * np.clip((since - 0.3) / 0.3, 0, 1) * np.sin(2 * np.pi * 5.6 * t)
    drift = np.interp(t, t[:: sr // 8], 0.06 * rng.standard_normal(t[:: sr // 8].size))
    phase = np.cumsum(midi_to_hz(glide + vibrato + drift, a4_hz=a4_hz)) / sr
    at = np.flatnonzero(np.diff(np.floor(phase)) > 0)
    share = (np.floor(phase[at + 1]) - phase[at]) / (phase[at + 1] - phase[at])
    out = np.zeros(n)
    for i, note in enumerate(line):
        onset, coda = CONSONANTS.get(note.syllable.onset), CONSONANTS.get(note.syllable.coda)
        start = bounds[i] - (onset.length_s * onset.voicing if onset else 0.0)
        end = bounds[i + 1] - (0.5 * coda.length_s if coda and not coda.voicing else 0.0)
        mine = (t[at] >= start) & (t[at] < end)
        level = np.clip((t[at] - start) / 0.03, 0, 1) * np.clip((end - t[at]) / 0.05, 0, 1)
        train = np.zeros(n)
        np.add.at(train, at[mine], (level * (1 - share))[mine])
        np.add.at(train, at[mine] + 1, (level * share)[mine])
        edge = slice(max(0, round((start - origin) * sr) - 10), min(n, round((end - origin) * sr) + 2000))
        out[edge] += signal.fftconvolve(train[edge], _grain(note.syllable.vowel[0], tract, sr))[: out[edge].size]
        for consonant, end_s in ((onset, bounds[i]), (coda, bounds[i + 1])):
            if consonant and consonant.noise_hz:
                length = consonant.burst_s or consonant.length_s
                noise = band_noise(round((length + 0.02) * sr), *consonant.noise_hz, sr=sr, rng=rng)
                shaped = faded(noise, in_s=0.004, out_s=0.02, sr=sr)
                gain = 3.0 * 10.0 ** (consonant.noise_db / 20.0)
                add_at(out, shaped, end_s - length - origin, sr=sr, gain=gain)
    return out, lead_s


def _grain(vowel: str, tract: float, sr: int) -> np.ndarray:
    """What one pulse rings: the formants as sines that die away with their bandwidths."""
    t = np.arange(round(0.03 * sr)) / sr
    grain = np.zeros(t.size)
    levels = (1.0, 0.5, 0.25, 0.12, 0.06)
    for hz, width, level in zip((*VOWELS_HZ[vowel], *HIGHER_FORMANTS_HZ), BANDWIDTHS_HZ, levels, strict=True):
        grain += level * np.exp(-np.pi * width * t) * np.sin(2 * np.pi * hz * tract * t)
    return grain * np.minimum(1.0, t / 0.0006) * np.minimum(1.0, (t[-1] - t) / 0.005)


def _moved(line: tuple[SungNote, ...], semitones: int) -> tuple[SungNote, ...]:
    return tuple(SungNote(n.onset_beat, n.duration_beats, n.pitch + semitones, n.syllable) for n in line)
