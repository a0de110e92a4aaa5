"""A singer of another make: pulses of the glottis, each of which rings the vowel's formants, noise for consonants.

After X. Rodet, "Time-domain formant-wave-function synthesis" (1984), with the pulse of A. Rosenberg, "Effect of
glottal pulse shape on the quality of natural vowels" (1971); jitter, shimmer and breath are
common practice, no source.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from obbligato.demo.phones import BANDWIDTHS_HZ, CONSONANTS, HIGHER_FORMANTS_HZ, VOWELS_HZ
from obbligato.demo.song import SungNote
from obbligato.demo.tones import add_at, band_noise, faded
from obbligato.music.grid import Grid
from obbligato.units import midi_to_hz

_OPEN_SHARE, _CLOSING_SHARE = 0.4, 0.2
"""Shares of a period in which the glottis opens and closes."""

_GLIDE_S = 0.04


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
    period = 1.0 / np.maximum(1.0, sr * np.diff(phase, append=phase[-1] + 0.01))[at]
    share = share + 0.006 * sr * period * rng.standard_normal(at.size)
    shimmer = 1.0 + 0.06 * rng.standard_normal(at.size)
    breath = band_noise(n, 900.0, 8000.0, sr=sr, rng=rng)
    out = np.zeros(n)
    for i, note in enumerate(line):
        onset, coda = CONSONANTS.get(note.syllable.onset), CONSONANTS.get(note.syllable.coda)
        start = bounds[i] - (onset.length_s * onset.voicing if onset else _GLIDE_S)
        end = bounds[i + 1] - (0.5 * coda.length_s if coda and not coda.voicing else 0.0)
        mine = (t[at] >= start) & (t[at] < end)
        level = np.clip((t[at] - start) / _GLIDE_S, 0, 1) * np.clip((end - t[at]) / _GLIDE_S, 0, 1) * shimmer
        train = np.zeros(n)
        place = at[mine] + share[mine]
        whole = np.clip(np.floor(place).astype(int), 0, n - 2)
        np.add.at(train, whole, level[mine] * (1.0 - (place - whole)))
        np.add.at(train, whole + 1, level[mine] * (place - whole))
        edge = slice(max(0, round((start - origin) * sr) - 10), min(n, round((end - origin) * sr) + 2000))
        f0 = float(midi_to_hz(float(note.pitch), a4_hz=a4_hz))
        sounding = np.clip((t[edge] - start) / _GLIDE_S, 0, 1) * np.clip((end - t[edge]) / _GLIDE_S, 0, 1)
        source = signal.fftconvolve(train[edge], _pulse(f0, sr))[: train[edge].size] + 0.012 * breath[edge] * sounding
        vowels = [_grain(vowel, tract, sr) for vowel in note.syllable.vowel]
        sung = [signal.fftconvolve(source, grain)[: source.size] for grain in vowels]
        turned = np.clip((t[edge] - start) / max(0.1, end - start) * 2.0 - 0.7, 0, 1)
        out[edge] += sung[0] if len(sung) == 1 else (1.0 - turned) * sung[0] + turned * sung[1]
        for consonant, end_s in ((onset, bounds[i]), (coda, bounds[i + 1])):
            if consonant and consonant.noise_hz:
                length = consonant.burst_s or consonant.length_s
                noise = band_noise(round((length + 0.02) * sr), *consonant.noise_hz, sr=sr, rng=rng)
                shaped = faded(noise, in_s=0.004, out_s=0.02, sr=sr)
                gain = 3.0 * 10.0 ** (consonant.noise_db / 20.0)
                add_at(out, shaped, end_s - length - origin, sr=sr, gain=gain)
    return out, lead_s


def _pulse(f0: float, sr: int) -> np.ndarray:
    """Flow through the glottis in one period, differentiated, with the same energy at every pitch."""
    opening, closing = (max(2, round(share / f0 * sr)) for share in (_OPEN_SHARE, _CLOSING_SHARE))
    rise = 0.5 * (1.0 - np.cos(np.pi * np.arange(opening) / opening))
    fall = np.cos(0.5 * np.pi * np.arange(closing + 1) / closing)
    flow = np.diff(np.concatenate([[0.0], rise, fall]))
    return flow / np.sqrt(np.sum(flow**2))


def _grain(vowel: str, tract: float, sr: int) -> np.ndarray:
    """What one pulse rings: the formants as sines that die away with their bandwidths."""
    t = np.arange(round(0.03 * sr)) / sr
    grain = np.zeros(t.size)
    levels = (1.0, 0.7, 0.5, 0.35, 0.25)
    for hz, width, level in zip((*VOWELS_HZ[vowel], *HIGHER_FORMANTS_HZ), BANDWIDTHS_HZ, levels, strict=True):
        grain += level * np.exp(-np.pi * width * t) * np.sin(2 * np.pi * hz * tract * t)
    return grain * np.minimum(1.0, t / 0.0002) * np.minimum(1.0, (t[-1] - t) / 0.005)
