"""How likely somebody sings, moment by moment, as log-odds.

Three opinions are put together. A small network for audio events (`singing_network`) hears the song twice: as the
mean of the channels, and with what is alike in both channels brought forward, because the voice stands in the middle
of nearly every mix. Then the song teaches itself: moments where the network is sure either way train a linear
discriminant (Fisher 1936, its covariance shrunk towards its diagonal as in Friedman 1989) on the spectrum of the
middle, of the sides, and on how much the middle flutters, and that knowledge of this singer over this band has a
little more than half the say. It steps in only where the network was sure of both for three seconds or more.

References
----------
R. A. Fisher: The use of multiple measurements in taxonomic problems. Annals of Eugenics 7, 1936, pages 179-188.
J. H. Friedman: Regularized discriminant analysis. J. American Statistical Association 84, 1989, pages 165-175.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, ndimage, signal
from threadpoolctl import threadpool_limits

from obbligato.listen.singing_network import FRAME_S, RATE_HZ, singing_probability
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.units import power_to_db

Array = NDArray[np.float64]

_SR = RATE_HZ
_N_FFT = 1024
_HALF = _N_FFT // 2
_FRAMES_AT_ONCE = 512
_BANDS = 30
_LOWEST_HZ, _HIGHEST_HZ = 80.0, 7800.0
_SMOOTHED_FRAMES, _FLUTTER_FRAMES = 5, 9
_SURE_SUNG = 0.0
_SURE_NOT_SUNG = float(np.log(0.08 / 0.92))
_LEAST_SURE_S = 3.0
_SHRINK = 0.3
_OWN_SAY = 0.6
_LARGEST_ODDS = 5.0


@dataclass(frozen=True, eq=False)
class _Sides:
    """A song split by place: the middle as sound, and spectra by band in dB, shape (n_frames, n_bands)."""

    middle: Samples
    middle_db: Array
    side_db: Array


@dataclass(frozen=True, eq=False)
class Opinions:
    """Log-odds that somebody sings, one value each `FRAME_S` from the start of the song.

    Attributes
    ----------
    together
        All that is known.
    entries
        The network's, which hears the start of a line at once and its end late.
    ends
        The song's own where there is any, which hears the ends as soon as the starts.
    """

    together: Array
    entries: Array
    ends: Array


def singing_odds(audio: Audio, *, progress: Progress = silent) -> Opinions:
    """Log-odds that somebody sings; songs of less than a second give none."""
    if audio.n_samples < audio.sr:
        return Opinions(np.zeros(0), np.zeros(0), np.zeros(0))
    progress(0.0, "listening for the singer")
    channels = soxr.resample(audio.y.T, audio.sr, _SR).T
    sides = _apart(channels)
    heard = [np.ascontiguousarray(channels.mean(axis=0), dtype=np.float32)]
    if np.abs(channels[0] - channels[-1]).max() > 1e-4:
        heard.append(sides.middle)
    progress(0.2, "listening for the singer")
    with threadpool_limits(limits=1, user_api="blas"), ThreadPoolExecutor(max_workers=len(heard)) as pool:
        odds = list(pool.map(_network_odds, heard))
    n_frames = min(o.size for o in odds)
    network = ndimage.uniform_filter1d(np.mean([o[:n_frames] for o in odds], axis=0), 7)
    own = _own_odds(network, sides)
    progress(1.0, "listened for the singer")
    if own is None:
        return Opinions(network, network, network)
    return Opinions((1.0 - _OWN_SAY) * network + _OWN_SAY * own, network, own)


def _network_odds(y: Samples) -> Array:
    probability = np.clip(singing_probability(y), 1e-4, 1.0 - 1e-4)
    return np.asarray(np.log(probability / (1.0 - probability)))


def _apart(channels: Samples) -> _Sides:
    """Weight each place of the spectrum by how much alike left and right are there.

    Frames of a periodic Hann window half overlapped add up to the signal again without a second window.
    """
    n_blocks = channels.shape[1] // _HALF + 2
    padded = np.pad(channels[[0, -1]], ((0, 0), (_HALF, n_blocks * _HALF - _HALF - channels.shape[1])))
    frames = np.lib.stride_tricks.sliding_window_view(padded, _N_FFT, axis=1)[:, ::_HALF]
    window = signal.get_window("hann", _N_FFT).astype(np.float32)
    middle = np.zeros((n_blocks, _HALF), dtype=np.float32)
    middle_db, side_db = np.empty((n_blocks - 1, _BANDS)), np.empty((n_blocks - 1, _BANDS))
    for first in range(0, n_blocks - 1, _FRAMES_AT_ONCE):
        here = slice(first, min(first + _FRAMES_AT_ONCE, n_blocks - 1))
        left, right = fft.rfft(frames[:, here] * window, axis=2)
        together, apart = left + right, np.abs(left - right)
        alike = np.clip(1.0 - apart / np.maximum(np.abs(together), 1e-9), 0.0, 1.0)
        spectrum = 0.5 * together * alike
        parts = fft.irfft(spectrum, axis=1)
        middle[here] += parts[:, :_HALF]
        middle[here.start + 1 : here.stop + 1] += parts[:, _HALF:]
        middle_db[here], side_db[here] = _band_db(np.abs(spectrum)), _band_db(0.5 * apart)
    return _Sides(middle.reshape(-1)[_HALF : _HALF + channels.shape[1]], middle_db, side_db)


def _band_db(magnitude: NDArray[np.float32]) -> Array:
    """Power in triangular bands evenly spaced on the mel scale of O'Shaughnessy (2595 log10(1 + f/700))."""
    lowest, highest = (float(2595.0 * np.log10(1.0 + hz / 700.0)) for hz in (_LOWEST_HZ, _HIGHEST_HZ))
    edges = np.linspace(lowest, highest, _BANDS + 2)
    mel = 2595.0 * np.log10(1.0 + fft.rfftfreq(_N_FFT, 1.0 / _SR)[:, None] / 700.0)
    up, down = (mel - edges[:-2]) / np.diff(edges)[:-1], (edges[2:] - mel) / np.diff(edges)[1:]
    return power_to_db(magnitude**2 @ np.maximum(0.0, np.minimum(up, down)).astype(np.float32))


def _own_odds(network: Array, sides: _Sides) -> Array | None:
    """What the song says of itself; None where it has not enough sure moments of both kinds."""
    times_s = np.arange(network.size) * FRAME_S
    frame_s = np.arange(sides.middle_db.shape[0]) * _HALF / _SR
    at_frames = np.interp(frame_s, times_s, network)
    sung, not_sung = at_frames > _SURE_SUNG, at_frames < _SURE_NOT_SUNG
    if min(sung.sum(), not_sung.sum()) * _HALF / _SR < _LEAST_SURE_S:
        return None
    score = _discriminant(_features(sides), sung, not_sung)
    return np.asarray(np.interp(times_s, frame_s, np.clip(score, -_LARGEST_ODDS, _LARGEST_ODDS)))


def _features(sides: _Sides) -> Array:
    steady = ndimage.uniform_filter1d(sides.middle_db, _SMOOTHED_FRAMES, axis=0)
    flutter = ndimage.uniform_filter1d((sides.middle_db - steady) ** 2, _FLUTTER_FRAMES, axis=0)
    side = ndimage.uniform_filter1d(sides.side_db, _SMOOTHED_FRAMES, axis=0)
    return np.hstack([steady, side, np.sqrt(np.maximum(flutter, 0.0))])


def _discriminant(features: Array, sung: NDArray[np.bool_], not_sung: NDArray[np.bool_]) -> Array:
    """Log-odds of each frame under two normal distributions of the same spread, learnt from the sure frames."""
    means = features[sung].mean(axis=0), features[not_sung].mean(axis=0)
    spread = 0.5 * (np.cov(features[sung].T) + np.cov(features[not_sung].T))
    diagonal = np.diag(np.diag(spread) + 1e-6)
    spread = (1.0 - _SHRINK) * spread + _SHRINK * diagonal
    score = features @ np.linalg.solve(spread, means[0] - means[1])
    centres = score[sung].mean(), score[not_sung].mean()
    variance = 0.5 * (score[sung].var() + score[not_sung].var())
    return np.asarray((centres[0] - centres[1]) * (score - 0.5 * sum(centres)) / max(variance, 1e-12))
