"""What is different between two recordings of the same bars that lie sample on sample: level, singer, key, mix.

Between two copies of one recording only a gain is left; what remains after the best gain is the residual. Where the
residual is large, three questions in this order tell why: do the pitch classes fit better turned by some semitones
(the same bars in another key: optimal transposition, Serrà and others 2008), does the residual sound only while
somebody sings and leave the low register alone (the same band, sung anew), or neither (mixed or played otherwise).

References
----------
J. Serrà, E. Gómez, P. Herrera, X. Serra: Chroma binary similarity and local alignment applied to cover song
identification. IEEE Transactions on Audio, Speech, and Language Processing 16, 2008, pages 1138-1151.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from obbligato.listen.chroma import BeatChroma, beat_chroma
from obbligato.music.grid import Grid
from obbligato.music.spans import Span
from obbligato.sound.audio import Audio
from obbligato.units import amplitude_to_db, power_to_db

Array = NDArray[np.float64]

SAME_DB = -20.0
"""A residual in the body of the sound below this is coding, dither or resampling; singing anew leaves -15 to 0."""

_BODY_HZ = 4000.0
"""Coding changes most above it, singing and playing below it."""

_CODED_DB = -60.0
"""Up to such a residual there is no need to look at the body alone."""

_LOW_HZ = 110.0
"""Below it sound bass and bass drum, and hardly a singer: a bass's lowest E2 is 82 Hz, its harmonics above."""

_SAME_BAND_DB = -14.0
_SUNG_SHARE = 0.8
"""Of the residual's energy, at least so much while somebody sings, for the difference to be the singer's."""

_SINGING_MARGIN_S = 0.25
"""Consonants before, room after what was heard as singing."""

_FRAME_S = 0.05
_TURNED_BETTER = 0.08
_MARGIN_S = 1.0


@dataclass(frozen=True)
class CopyFacts:
    """One stretch beside its copy.

    Attributes
    ----------
    gain_db
        Level of the copy against the old sound; None in silence.
    residual_db
        What is left after that gain, against the copy; -200 where nothing is.
    body_db
        The same of what lies under 4 kHz.
    """

    gain_db: float | None
    residual_db: float
    body_db: float

    @property
    def same_sound(self) -> bool:
        """Whether the two are one recording, however it was coded."""
        return self.body_db <= SAME_DB


def compare_copy(old: Audio, new: Audio, span: Span, lag_s: float) -> CopyFacts:
    """Measure what is left of a stretch of `new` when that of `old` is taken from it."""
    x, y = _pair(old, new, span, lag_s)
    if float(np.sum(x * x)) <= 1e-12 * max(x.size, 1):
        return CopyFacts(None, -200.0, -200.0)
    gain, residual_db = _residual(x, y)
    body_db = residual_db
    if residual_db > _CODED_DB and old.sr > 2.5 * _BODY_HZ:
        low = signal.butter(4, _BODY_HZ, "lowpass", fs=old.sr, output="sos")
        _, body_db = _residual(signal.sosfilt(low, x), signal.sosfilt(low, y))
    return CopyFacts(float(amplitude_to_db(max(abs(gain), 1e-9))), residual_db, body_db)


def _residual(x: Array, y: Array) -> tuple[float, float]:
    """Best gain from x to y, and what is left after it, in dB against y."""
    gain = float(np.sum(x * y)) / max(float(np.sum(x * x)), 1e-20)
    left = float(np.sum(np.square(y - gain * x))) / max(float(np.sum(y * y)), 1e-20)
    return gain, max(-200.0, float(power_to_db(max(left, 1e-20))))


def sung_anew(old: Audio, new: Audio, span: Span, lag_s: float, sung: Sequence[Span]) -> bool:
    """Whether only the singing differs: the low register is the same, and the rest differs where somebody sings.

    Parameters
    ----------
    sung
        Where the singer of `old` sings, and where the one of `new` does, on the time of `old`.
    """
    x, y = _pair(old, new, span, lag_s)
    sr = old.sr
    if x.shape[1] < sr // 2:
        return False
    low = signal.butter(4, _LOW_HZ, "lowpass", fs=sr, output="sos")
    x_low, y_low = (signal.sosfilt(low, z.mean(axis=0)) for z in (x, y))
    gain = float(x_low @ y_low) / max(float(x_low @ x_low), 1e-20)
    low_left_db = float(power_to_db(np.sum((y_low - gain * x_low) ** 2) / max(float(y_low @ y_low), 1e-20)))
    step = round(_FRAME_S * sr)
    left = np.square(y - gain * x).sum(axis=0)
    frames = left[: left.size // step * step].reshape(-1, step).sum(axis=1)
    at_s = span.start_s + (np.arange(frames.size) + 0.5) * step / sr
    sings = np.zeros(frames.size, dtype=bool)
    for stretch in sung:
        sings |= (at_s > stretch.start_s - _SINGING_MARGIN_S) & (at_s < stretch.end_s + _SINGING_MARGIN_S)
    share = float(frames[sings].sum() / max(float(frames.sum()), 1e-20))
    return low_left_db <= _SAME_BAND_DB and share >= _SUNG_SHARE


def turned_semitones(old: BeatChroma, new: BeatChroma, pairs: Sequence[tuple[int, int]]) -> int:
    """By how many semitones the paired beats of `new` are higher, -5 to 6; 0 unless another fits plainly better."""
    if not pairs:
        return 0
    i, j = np.array(pairs).T
    fits = [
        float(np.mean(_likeness(old.upper[i], new.upper[j], turn) + _likeness(old.bass[i], new.bass[j], turn)) / 2)
        for turn in range(12)
    ]
    best = int(np.argmax(fits))
    if fits[best] < fits[0] + _TURNED_BETTER:
        return 0
    return best - 12 if best > 6 else best


def chroma_of_part(audio: Audio, grid: Grid, span: Span, *, a4_hz: float) -> BeatChroma:
    """Pitch classes on the beats of a stretch, numbered as the grid numbers them."""
    start_s = max(0.0, span.start_s - _MARGIN_S)
    part = audio.y[:, round(start_s * audio.sr) : round((span.end_s + _MARGIN_S) * audio.sr)]
    moved = Grid(grid.meter, grid.anchor_beats, tuple(s - start_s for s in grid.anchor_s))
    return beat_chroma(Audio(part, audio.sr), moved, a4_hz=a4_hz)


def _likeness(old: Array, new: Array, turn: int) -> Array:
    """Cosine of each pair of pitch-class vectors, `new` turned down by `turn` semitones; 0 where one is silent."""
    turned = np.roll(new, -turn, axis=1)
    norm = np.linalg.norm(old, axis=1) * np.linalg.norm(turned, axis=1)
    return np.asarray(np.sum(old * turned, axis=1) / np.where(norm > 0.0, norm, 1.0))


def _pair(old: Audio, new: Audio, span: Span, lag_s: float) -> tuple[Array, Array]:
    """A stretch of both, sample on sample, as far as both have it; as one channel where the channels differ."""
    same_channels = old.channels == new.channels
    x, y = (audio.y if same_channels else audio.mono()[None, :] for audio in (old, new))
    lag = lag_s * old.sr
    whole = round(lag)
    first = max(round(span.start_s * old.sr), -whole, 0)
    last = min(round(span.end_s * old.sr), x.shape[1], y.shape[1] - whole)
    if last <= first:
        return np.zeros((1, 0)), np.zeros((1, 0))
    copied: NDArray[np.floating[Any]] = y[:, first + whole : last + whole]
    if abs(lag - whole) > 0.02:
        copied = _advanced(copied, lag - whole)
    return np.asarray(x[:, first:last], dtype=np.float64), np.asarray(copied, dtype=np.float64)


def _advanced(y: NDArray[np.floating[Any]], fraction: float) -> Array:
    """The sound read a fraction of a sample later, by the shift theorem."""
    n = fft.next_fast_len(y.shape[1] + 64)
    padded = np.pad(y.astype(np.float64), ((0, 0), (32, n - y.shape[1] - 32)), mode="reflect")
    phase = np.exp(2j * np.pi * fft.rfftfreq(n) * fraction)
    return np.asarray(fft.irfft(fft.rfft(padded, axis=1) * phase, n, axis=1)[:, 32 : 32 + y.shape[1]])
