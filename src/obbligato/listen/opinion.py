"""How likely somebody sings, moment by moment, as log-odds.

Two opinions are put together. A small network for audio events (`singing_network`) hears the song twice: as the
mean of the channels, and its middle (`middle`). Then the song teaches itself what its singer sounds like over its
band: moments where opinion is sure either way train a linear discriminant (Fisher 1936, its covariance shrunk a
little towards its diagonal as in Friedman 1989) on the spectrum of the middle and of the sides, on how much the
middle flutters, and on how far it is noise, now and in the quarter of a second before and after. Each stretch is
judged only by what the others taught (cross-validation, Stone 1974), so that the odds are as sure as they are right;
the two opinions together then choose the sure moments anew, three times in all (self-training, Scudder 1965). The
song's own knowledge has a little more than half the say. It steps in only where the network was sure of both for
three seconds or more besides the stretch that is judged.

References
----------
R. A. Fisher: The use of multiple measurements in taxonomic problems. Annals of Eugenics 7, 1936, pages 179-188.
H. J. Scudder: Probability of error of some adaptive pattern-recognition machines. IEEE Trans. Information Theory 11,
1965, pages 363-371.
M. Stone: Cross-validatory choice and assessment of statistical predictions. J. Royal Statistical Society B 36, 1974,
pages 111-147.
J. H. Friedman: Regularized discriminant analysis. J. American Statistical Association 84, 1989, pages 165-175.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import ndimage
from threadpoolctl import threadpool_limits

from obbligato.listen.middle import HOP, RATE_HZ, Places, taken_apart
from obbligato.listen.singing_network import FRAME_S, singing_probability
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.units import db_to_power, power_to_db

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_SMOOTHED_FRAMES, _FLUTTER_FRAMES, _AROUND_FRAMES = 3, 7, 9
_SURE_SUNG, _SURE_NOT_SUNG = 0.0, -2.0
_LEAST_SURE_S = 3.0
_ROUNDS = 3
_FOLDS, _STRETCH_S = 6, 4.0
_SHRINK = 0.05
_OWN_SAY = 0.6
_LARGEST_ODDS = 5.0
_DEAD, _OPPOSITE = 1e-6, -0.8
"""Power of a channel against the other, and correlation of both, as a file's facts tell of them."""

_VOICE_BANDS = slice(2, 20)
"""Of the middle's bands those from about 200 to 3300 Hz, where a voice has most of its power."""

_VOWEL_BANDS = slice(2, 9)
"""Of the bands of flatness those from about 350 to 2600 Hz: the first formants, where vowels stand out of noise."""


@dataclass(frozen=True, eq=False)
class Opinions:
    """What is known of the singing, one value each `FRAME_S` from the start of the song.

    Attributes
    ----------
    together
        Log-odds that somebody sings, by all that is known.
    network
        The network's alone.
    level_db
        Power of the middle where voices have theirs.
    noise_db
        How much the middle is like noise where vowels have their formants (`middle.Places.flatness_db`).
    """

    together: Array
    network: Array
    level_db: Array
    noise_db: Array


def singing_odds(audio: Audio, *, progress: Progress = silent) -> Opinions:
    """Opinions on singing all along a song; songs of less than a second give none."""
    if audio.n_samples < audio.sr:
        return Opinions(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))
    progress(0.0, "listening for the singer")
    channels = _two_sides(soxr.resample(audio.y.T, audio.sr, RATE_HZ).T)
    places = taken_apart(channels)
    heard = [np.ascontiguousarray(channels.mean(axis=0), dtype=np.float32)]
    if np.abs(channels[0] - channels[-1]).max() > 1e-4:
        heard.append(places.middle)
    progress(0.2, "listening for the singer")
    with threadpool_limits(limits=1, user_api="blas"), ThreadPoolExecutor(max_workers=len(heard)) as pool:
        odds = list(pool.map(_network_odds, heard))
        n_frames = min(o.size for o in odds)
        network = ndimage.uniform_filter1d(np.mean([o[:n_frames] for o in odds], axis=0), 7)
        opinions = _with_own_opinion(network, places)
    progress(1.0, "listened for the singer")
    return opinions


def _two_sides(channels: Samples) -> Samples:
    """The channels, a dead one stood in for by the other, one of opposite polarity turned round."""
    if len(channels) != 2:
        return channels
    power = np.mean(np.square(channels), axis=1, dtype=np.float64)
    if power.min() < _DEAD * power.max():
        return channels[[int(power.argmax())] * 2]
    alike = float(np.mean(channels[0] * channels[1], dtype=np.float64)) / np.sqrt(max(power.prod(), 1e-30))
    return channels * np.array([[1.0], [-1.0]], dtype=channels.dtype) if alike < _OPPOSITE else channels


def _network_odds(y: Samples) -> Array:
    probability = np.clip(singing_probability(y), 1e-4, 1.0 - 1e-4)
    return np.asarray(np.log(probability / (1.0 - probability)))


def _with_own_opinion(network: Array, places: Places) -> Opinions:
    """The network's odds with what the song says of itself, where it has enough sure moments of both kinds."""
    frame_s = np.arange(len(places.middle_db)) * HOP / RATE_HZ
    times_s = np.arange(network.size) * FRAME_S
    features = _features(places)
    stretch = (frame_s / _STRETCH_S).astype(np.intp) % _FOLDS
    together = network
    for _ in range(_ROUNDS):
        at_frames = np.interp(frame_s, times_s, together)
        sung, not_sung = at_frames > _SURE_SUNG, at_frames < _SURE_NOT_SUNG
        if min(_least_taught_s(sung, stretch), _least_taught_s(not_sung, stretch)) < _LEAST_SURE_S:
            break
        score = _discriminant(features, sung, not_sung, stretch)
        own = np.interp(times_s, frame_s, np.clip(score, -_LARGEST_ODDS, _LARGEST_ODDS))
        together = (1.0 - _OWN_SAY) * network + _OWN_SAY * own
    power = db_to_power(places.middle_db[:, _VOICE_BANDS]).sum(axis=1)
    level_db = power_to_db(_mean_around(power, _SMOOTHED_FRAMES))
    noise_db = places.flatness_db[:, _VOWEL_BANDS].mean(axis=1)
    return Opinions(together, network, np.interp(times_s, frame_s, level_db), np.interp(times_s, frame_s, noise_db))


def _least_taught_s(sure: Mask, stretch: NDArray[np.intp]) -> float:
    """Seconds of sure frames that are left to teach in the worst case of a fold left out."""
    return float(sure.sum() - np.bincount(stretch, sure, _FOLDS).max()) * HOP / RATE_HZ


def _features(places: Places) -> Array:
    """What each frame sounds like, every column with mean 0 and deviation 1, shape (n_frames, n_columns)."""
    steady = _mean_around(places.middle_db, _SMOOTHED_FRAMES)
    flutter = _mean_around((places.middle_db - steady) ** 2, _FLUTTER_FRAMES)
    side = _mean_around(places.side_db, _SMOOTHED_FRAMES)
    now = [steady, side, np.sqrt(np.maximum(flutter, 0.0)), _mean_around(places.flatness_db, _SMOOTHED_FRAMES)]
    middle = np.hstack([places.middle_db, places.flatness_db])
    half = _AROUND_FRAMES // 2
    around = [ndimage.uniform_filter1d(middle, _AROUND_FRAMES, axis=0, origin=origin) for origin in (half, -half)]
    features = np.hstack([*now, *around])
    return np.asarray((features - features.mean(axis=0)) / (features.std(axis=0) + 1e-9))


def _mean_around(values: Array, n_frames: int) -> Array:
    return np.asarray(ndimage.uniform_filter1d(values, n_frames, axis=0))


def _discriminant(features: Array, sung: Mask, not_sung: Mask, stretch: NDArray[np.intp]) -> Array:
    """Log-odds of each frame from the sure frames of all stretches but its own, scaled by how well they tell."""
    kinds = [_moments(features, sure, stretch) for sure in (sung, not_sung)]
    score = np.zeros(len(features))
    for fold in range(_FOLDS):
        (sung_mean, sung_spread), (other_mean, other_spread) = (_taught(moments, fold) for moments in kinds)
        spread = 0.5 * (sung_spread + other_spread)
        spread = (1.0 - _SHRINK) * spread + _SHRINK * np.diag(np.diag(spread) + 1e-6)
        direction = np.linalg.solve(spread, sung_mean - other_mean)
        here = stretch == fold
        apart = max(float(direction @ (sung_mean - other_mean)), 1e-12)
        score[here] = (features[here] - 0.5 * (sung_mean + other_mean)) @ direction / np.sqrt(apart)
    centres = score[sung].mean(), score[not_sung].mean()
    variance = 0.5 * (score[sung].var() + score[not_sung].var())
    return np.asarray(max(0.0, centres[0] - centres[1]) * (score - 0.5 * sum(centres)) / max(variance, 1e-12))


def _moments(features: Array, sure: Mask, stretch: NDArray[np.intp]) -> list[tuple[int, Array, Array]]:
    """Number, sum and sum of outer products of the sure frames of each fold."""
    parts = [features[sure & (stretch == fold)] for fold in range(_FOLDS)]
    return [(len(part), part.sum(axis=0), part.T @ part) for part in parts]


def _taught(moments: list[tuple[int, Array, Array]], left_out: int) -> tuple[Array, Array]:
    """Mean and covariance of the sure frames of all folds but one."""
    numbers, sums, products = zip(*(m for fold, m in enumerate(moments) if fold != left_out), strict=True)
    number = sum(numbers)
    mean = np.sum(sums, axis=0) / number
    return mean, np.sum(products, axis=0) / number - np.outer(mean, mean)
