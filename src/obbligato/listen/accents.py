"""Accents: what marks out one count from another, sampled along the pulse.

Four curves, each a different witness: all onsets, low onsets (kick, bass), mid-high onsets (snare, strum), and change
of harmony. Each is brought to mean 0 and deviation 1, so that none outvotes another by loudness alone. All onsets and
low ones count by how long they last as well: a bass that plays long on one and short before it is heard so
(durational accent, Parncutt, "A perceptual model of pulse salience and metrical accent in musical rhythms", Music
Perception 11, 1994, with his saturation of half a second and his square). A snare is short whatever comes after it;
its curve is left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import soxr
from scipy import fft, ndimage, signal

from obbligato.listen.onsets import Floats, Onsets
from obbligato.listen.pulse import Pulse
from obbligato.sound.audio import Audio, Samples
from obbligato.units import hz_to_midi

PER_PULSE = 12
"""Samples of each curve in one pulse: divisible by 2, 3 and 4."""
CURVES = ("all", "low", "snare", "harmony")
_SATURATION_S = 0.5
_LEAST_LASTING, _APART_S = 0.3, 0.06
"""An onset of this share of a strong one ends the one before; onsets nearer than this are one."""
_CHANGE_STEP_S = 0.05
_CHANGE_SPAN_S = 0.8
_CHANGE_RATE_HZ = 11025
_CHANGE_FFT = 4096
_FRAMES_AT_ONCE = 256
_REGISTERS_MIDI = ((30.0, 52.0), (52.0, 90.0))


@dataclass(frozen=True, eq=False)
class Accents:
    """Accent curves of shape (4, n) in the order of `CURVES`; sample `i` lies at phase `first_phase + i / 12`.

    `struck` is the strength of all onsets however long they last, shape (n,).
    """

    first_phase: float
    curves: Floats
    struck: Floats


@dataclass(frozen=True, eq=False)
class Harmony:
    """Strength of each pitch class in two registers, one column each `step_s` from the start, shape (2, 12, n)."""

    step_s: float
    chroma: Floats

    def change(self, span_s: float) -> tuple[Floats, Floats]:
        """Times, and how different the pitch classes over a span after each are from those over one before it.

        For each register 0.0 is the same, 1.0 unrelated and 2.0 the opposite; both are added.
        """
        span = max(1, round(span_s / self.step_s))
        change = sum(_difference(register - register.mean(axis=0), span) for register in self.chroma)
        return np.arange(self.chroma.shape[2], dtype=np.float64) * self.step_s, np.asarray(change)


def find_accents(harmony: Harmony, onsets: Onsets, pulse: Pulse) -> Accents:
    """Sample the four curves along the pulse, `PER_PULSE` times in each."""
    at_s = pulse.when(_phases(pulse))
    onset_s = np.arange(onsets.n) * onsets.step_s

    def sampled(strength: Floats) -> Floats:
        near = ndimage.maximum_filter1d(ndimage.gaussian_filter1d(strength, 2.0), 11)
        return np.asarray(np.interp(at_s, onset_s, near))

    bands = np.asarray(onsets.bands, dtype=np.float64)
    everything = bands.sum(axis=0)
    curves = np.stack(
        [
            sampled(lasting(everything, onsets.step_s)),
            sampled(lasting(bands[0], onsets.step_s)),
            sampled(bands[2] + bands[3]),
            _harmony_curve(harmony, at_s, _CHANGE_SPAN_S),
        ]
    )
    return Accents(float(np.ceil(pulse.phase[0])), _standardised(curves), _standardised(sampled(everything)))


def with_chords_of(accents: Accents, harmony: Harmony, pulse: Pulse, span_s: float) -> Accents:
    """The same accents, but for a harmony whose chords are thought to last `span_s`."""
    curves = accents.curves.copy()
    curves[CURVES.index("harmony")] = _standardised(_harmony_curve(harmony, pulse.when(_phases(pulse)), span_s))
    return replace(accents, curves=curves)


def _phases(pulse: Pulse) -> Floats:
    return np.arange(float(np.ceil(pulse.phase[0])), np.floor(pulse.phase[-1]), 1.0 / PER_PULSE)


def _harmony_curve(harmony: Harmony, at_s: Floats, span_s: float) -> Floats:
    change_s, change_size = harmony.change(span_s)
    return np.interp(at_s, change_s, change_size)


def _standardised(curves: Floats) -> Floats:
    """Curves along the last axis with mean 0 and deviation 1."""
    curves = curves - curves.mean(axis=-1, keepdims=True)
    return np.asarray(curves / (curves.std(axis=-1, keepdims=True) + 1e-9))


def lasting(strength: Floats, step_s: float) -> Floats:
    """Onset strength times the durational accent of each onset, `(1 - exp(-t / 0.5 s)) ** 2`.

    `t` is the time to the next onset: a note that lasts marks the beat, a short one leads on to it.
    """
    smooth = ndimage.gaussian_filter1d(strength, 2.0)
    least = _LEAST_LASTING * float(np.percentile(smooth, 99.0))
    peaks, _ = signal.find_peaks(smooth, height=max(least, 1e-9), distance=max(1, round(_APART_S / step_s)))
    if peaks.size < 2:
        return strength
    gaps = np.append(np.diff(peaks), np.median(np.diff(peaks))) * step_s
    accent = np.square(1.0 - np.exp(-gaps / _SATURATION_S))
    nearest = np.searchsorted(0.5 * (peaks[1:] + peaks[:-1]), np.arange(strength.size))
    return np.asarray(strength * accent[nearest])


def find_harmony(audio: Audio) -> Harmony:
    """The pitch classes of a piece along time."""
    rate = audio.sr / max(1, audio.sr // _CHANGE_RATE_HZ)
    y = soxr.resample(audio.mono(), audio.sr, rate)
    hop = max(1, round(_CHANGE_STEP_S * rate))
    return Harmony(hop / rate, _pitch_classes(y, rate, hop))


def _pitch_classes(y: Samples, rate: float, hop: int) -> Floats:
    """Strength of each pitch class in each register, one frame each `hop` samples, shape (2, 12, n_frames)."""
    n_fft = min(_CHANGE_FFT, y.size)
    hz = fft.rfftfreq(n_fft, 1.0 / rate)
    pitch = hz_to_midi(np.maximum(hz, 1.0))
    fold = np.zeros((len(_REGISTERS_MIDI), 12, hz.size), dtype=np.float32)
    for register, (low, high) in enumerate(_REGISTERS_MIDI):
        within = np.flatnonzero((pitch >= low) & (pitch < high))
        fold[register, np.round(pitch[within]).astype(int) % 12, within] = 1.0
    used = int(np.flatnonzero(fold.any(axis=(0, 1)))[-1]) + 1
    to_class = fold[:, :, :used].reshape(-1, used)
    padded = np.pad(y, (n_fft // 2, n_fft // 2 + -y.size % hop))
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_fft)[::hop]
    window = signal.get_window("hann", n_fft).astype(np.float32)
    parts = [
        to_class @ np.sqrt(np.abs(fft.rfft(frames[i : i + _FRAMES_AT_ONCE] * window, axis=1)[:, :used].T)) / n_fft
        for i in range(0, frames.shape[0], _FRAMES_AT_ONCE)
    ]
    return np.concatenate(parts, axis=1, dtype=np.float64).reshape(len(_REGISTERS_MIDI), 12, -1)


def _difference(chroma: Floats, span: int) -> Floats:
    """One minus the cosine between the sums of `span` columns after and before each column; 0 beside silence."""
    total = np.concatenate([np.zeros((chroma.shape[0], 1)), np.cumsum(chroma, axis=1)], axis=1)
    n = chroma.shape[1]
    at = np.arange(n)
    after = total[:, np.minimum(at + span, n)] - total[:, at]
    before = total[:, at] - total[:, np.maximum(at - span, 0)]
    size_after, size_before = np.linalg.norm(after, axis=0), np.linalg.norm(before, axis=0)
    floor = 0.05 * float(np.percentile(size_after, 90.0))
    cosine = (after * before).sum(axis=0) / (size_after * size_before + 1e-9)
    return np.asarray(np.where((size_after > floor) & (size_before > floor), 1.0 - cosine, 0.0))
