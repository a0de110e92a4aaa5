"""Accents: what marks out one count from another, sampled along the pulse.

Four curves, each a different witness: all onsets, low onsets (kick, bass), mid-high onsets (snare, strum), and change
of harmony. Each is brought to mean 0 and deviation 1, so that none outvotes another by loudness alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, signal

from obbligato.listen.onsets import Floats, Onsets
from obbligato.listen.pulse import Pulse
from obbligato.sound.audio import Audio
from obbligato.units import hz_to_midi

PER_PULSE = 12
"""Samples of each curve in one pulse: divisible by 2, 3 and 4."""
CURVES = ("all", "low", "snare", "harmony")
_CHANGE_STEP_S = 0.05
_CHANGE_SPAN_S = 0.8
_CHANGE_RATE_HZ = 11025
_CHANGE_FFT = 4096
_REGISTERS_MIDI = ((30.0, 52.0), (52.0, 90.0))


@dataclass(frozen=True, eq=False)
class Accents:
    """Accent curves of shape (4, n) in the order of `CURVES`; sample `i` lies at phase `first_phase + i / 12`."""

    first_phase: float
    curves: Floats


def find_accents(change: tuple[Floats, Floats], onsets: Onsets, pulse: Pulse) -> Accents:
    """Sample the four curves along the pulse, `PER_PULSE` times in each; `change` is what `harmony_change` gives."""
    first = float(np.ceil(pulse.phase[0]))
    phases = np.arange(first, np.floor(pulse.phase[-1]), 1.0 / PER_PULSE)
    at_s = pulse.when(phases)
    onset_s = np.arange(onsets.n) * onsets.step_s

    def sampled(strength: Floats) -> Floats:
        near = ndimage.maximum_filter1d(ndimage.gaussian_filter1d(strength, 2.0), 11)
        return np.asarray(np.interp(at_s, onset_s, near))

    bands = np.asarray(onsets.bands, dtype=np.float64)
    change_s, change_size = change
    curves = np.stack(
        [
            sampled(bands.sum(axis=0)),
            sampled(bands[0]),
            sampled(bands[2] + bands[3]),
            np.interp(at_s, change_s, change_size),
        ]
    )
    curves -= curves.mean(axis=1, keepdims=True)
    return Accents(first, curves / (curves.std(axis=1, keepdims=True) + 1e-9))


def harmony_change(audio: Audio) -> tuple[Floats, Floats]:
    """Times, and how different the pitch classes after each are from those before (0 the same, 2 unrelated)."""
    factor = max(1, audio.sr // _CHANGE_RATE_HZ)
    y = signal.resample_poly(audio.mono(), 1, factor, window=("kaiser", 3.0))
    rate = audio.sr / factor
    hop = max(1, round(_CHANGE_STEP_S * rate))
    n_fft = min(_CHANGE_FFT, y.size)
    hz, _, spectrum = signal.stft(y, rate, nperseg=n_fft, noverlap=max(0, n_fft - hop), boundary="zeros")
    pitch = hz_to_midi(np.maximum(hz, 1.0))
    span = max(1, round(_CHANGE_SPAN_S * rate / hop))
    change = np.zeros(spectrum.shape[1])
    for low, high in _REGISTERS_MIDI:
        within = (pitch >= low) & (pitch < high)
        to_class = np.arange(12)[:, None] == np.round(pitch[within]).astype(int) % 12
        chroma = to_class.astype(np.float64) @ np.sqrt(np.abs(spectrum[within]))
        change += _difference(chroma - chroma.mean(axis=0), span)
    return np.arange(change.size) * hop / rate, change


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
