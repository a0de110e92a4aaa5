"""Which pitch classes sound on each beat, in the song's own tuning, drums kept out.

A spectrum of the whole song is folded onto a scale of thirds of a semitone about the song's own A4, each beat is
the median of its frames (what is there all through the beat stays, a stroke of a drum goes), and each beat is then
explained as a sum of notes with falling overtones, none of them negative, after Mauch and Dixon (2010). Their notes
fold into twelve pitch classes for the bass and for what lies above it.

Differs from the source: two window lengths (0.74 s below about 260 Hz, 0.37 s above) stand for their constant-Q
transform; the level is whitened halfway, by the root of its mean over an octave each way, not by mean and spread,
and overtones fall faster (0.2 from one to the next, not 0.6 to 0.9), which left fewer thirds turned major by the
bass's fifth harmonic on rendered bands; beats come from the grid.

References
----------
M. Mauch, S. Dixon: Approximate note transcription for the improved identification of difficult chords.
Proc. ISMIR, 2010, pages 135-140.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, ndimage, optimize, signal

from obbligato.music.grid import Grid
from obbligato.sound.audio import Audio
from obbligato.units import midi_to_hz, power_to_db

Array = NDArray[np.float64]

_SR = 11025
_N_FFT = 8192
_HOP = 1024
_FRAMES_AT_ONCE = 256
_LOW_MIDI, _HIGH_MIDI = 28, 100
_STEPS = 3
"""Bins of the pitch scale to a semitone."""

_SPLIT_MIDI = 60
"""Below this pitch the long window is used, above it the short one."""

BASS_ON_FIRST_BEAT = 3.0
"""How much the bass on the first beat of a bar says of its harmony against that of other beats: roots are played
there, fifths and passing notes after."""

_BASS_MIDI = (28, 55)
_UPPER_MIDI = (50, 88)
_OVERTONES = 12
_OVERTONE_FALL = 0.2
_SILENT_DB = 45.0
"""A beat this far under the loudest one says nothing of harmony."""

_FLATTEST = 0.9
"""Spectral flatness above which a beat has no pitch: beats of rendered bands gave 0.2 to 0.89, drums alone 0.7 to
0.94, so that in between other evidence must decide."""


@dataclass(frozen=True, eq=False)
class BeatChroma:
    """Pitch classes by beat.

    Attributes
    ----------
    beats
        Numbers of the beats from bar 1, shape (n_beats,); beat i lasts to beat i + 1.
    upper, bass
        Strength of each pitch class from C on, above and in the bass, shape (n_beats, 12), 0 to 1 with the
        strongest of a beat at 1; all 0 where a beat is silent or has no pitch.
    level_db
        Level of each beat against the loudest, shape (n_beats,).
    flatness
        Spectral flatness of each beat, shape (n_beats,): 0 for pure tones, near 1 for noise; None if not measured.
    """

    beats: Array
    upper: Array
    bass: Array
    level_db: Array
    flatness: Array | None = None


def beat_chroma(audio: Audio, grid: Grid, *, a4_hz: float) -> BeatChroma:
    """Pitch classes on every beat of the grid that lies inside the song.

    A song too short for one window gives no beats.
    """
    y = soxr.resample(audio.mono(), audio.sr, _SR)
    beats = grid.beats_in(0.0, audio.duration_s)[:-1]
    if y.size < _N_FFT or beats.size == 0:
        return BeatChroma(np.zeros(0), np.zeros((0, 12)), np.zeros((0, 12)), np.zeros(0))
    scale, frame_s = _pitch_scale(y, a4_hz)
    edges_s = grid.beat_to_sec(np.append(beats, beats[-1] + 1.0))
    by_beat = _median_by_beat(scale, frame_s, edges_s)
    level_db = power_to_db(np.sum(by_beat**2, axis=1))
    level_db -= level_db.max()
    notes = _explain(_whitened(by_beat))
    flatness = _flatness(by_beat)
    notes[(level_db < -_SILENT_DB) | (flatness > _FLATTEST)] = 0.0
    return BeatChroma(beats, _fold(notes, *_UPPER_MIDI), _fold(notes, *_BASS_MIDI), level_db, flatness)


def _pitch_scale(y: NDArray[np.float32], a4_hz: float) -> tuple[Array, Array]:
    """Magnitudes on the pitch scale, shape (n_frames, n_bins), and the times of the frames' centres."""
    padded = np.pad(y, _N_FFT // 2)
    frames = np.lib.stride_tricks.sliding_window_view(padded, _N_FFT)[::_HOP]
    maps = _scale_maps(round(a4_hz, 2))
    scale = np.empty((frames.shape[0], sum(m.shape[1] for m in maps)))
    for first in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        part = frames[first : first + _FRAMES_AT_ONCE]
        spectra = [fft.rfft(part * _window(n), axis=1) for n in _window_lengths()]
        folded = [np.abs(s[:, : m.shape[0]]) @ m for s, m in zip(spectra, maps, strict=True)]
        scale[first : first + part.shape[0]] = np.concatenate(folded, axis=1)
    return scale, np.arange(frames.shape[0]) * _HOP / _SR


def _window_lengths() -> tuple[int, int]:
    return _N_FFT, _N_FFT // 2


@cache
def _window(n: int) -> NDArray[np.float32]:
    """A Hann window of n samples in the middle of a frame, with unit sum."""
    window = signal.get_window("hann", n)
    edge = (_N_FFT - n) // 2
    return np.pad(window / window.sum(), edge).astype(np.float32)


@cache
def _scale_maps(a4_hz: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Weights from the lowest bins of the spectrum to those of the scale, for the long and the short window."""
    midi = _scale_midi()
    bins = np.arange(_N_FFT // 2 + 1) * _SR / _N_FFT
    maps = []
    for part in (midi[midi < _SPLIT_MIDI], midi[midi >= _SPLIT_MIDI]):
        centre = midi_to_hz(part, a4_hz=a4_hz)
        half = np.maximum(centre * (2.0 ** (1.0 / (12 * _STEPS)) - 1.0), _SR / _N_FFT)
        weight = np.maximum(0.0, 1.0 - np.abs(bins[:, None] - centre) / half)
        used = int(np.flatnonzero(weight.any(axis=1))[-1]) + 1
        maps.append((weight[:used] / weight.sum(axis=0)).astype(np.float32))
    return maps[0], maps[1]


def _scale_midi() -> Array:
    return np.arange(_LOW_MIDI * _STEPS - 1, _HIGH_MIDI * _STEPS + 2) / _STEPS


def _median_by_beat(scale: Array, frame_s: Array, edges_s: Array) -> Array:
    first = np.searchsorted(frame_s, edges_s)
    by_beat = np.empty((edges_s.size - 1, scale.shape[1]))
    for i in range(edges_s.size - 1):
        start = min(first[i], scale.shape[0] - 1)
        by_beat[i] = np.median(scale[start : max(first[i + 1], start + 1)], axis=0)
    return by_beat


def _whitened(by_beat: Array) -> Array:
    """Each beat with its slow spectral shape taken out and compressed, so that no register rules."""
    octave = 12 * _STEPS
    shape = ndimage.uniform_filter1d(by_beat, 2 * octave + 1, axis=1, mode="nearest")
    above = np.maximum(by_beat - 0.5 * shape, 0.0)
    return np.asarray(np.sqrt(above / np.sqrt(np.maximum(shape, 1e-12))))


def _flatness(by_beat: Array) -> Array:
    """Geometric over arithmetic mean of each beat's bins within half an octave each way, averaged over bins."""
    part = by_beat[:, 10 * _STEPS :]
    shape = ndimage.uniform_filter1d(part, 12 * _STEPS + 1, axis=1, mode="nearest")
    return np.asarray(np.exp(np.mean(np.log(np.maximum(part / np.maximum(shape, 1e-12), 1e-6)), axis=1)))


def _explain(spectra: Array) -> Array:
    """Strength of every note from `_LOW_MIDI` on that explains each spectrum, shape (n_beats, n_notes)."""
    dictionary = _note_spectra()
    return np.asarray([optimize.nnls(dictionary, spectrum)[0] for spectrum in spectra])


@cache
def _note_spectra() -> Array:
    """One column for each note: a narrow bump at each overtone, falling by `_OVERTONE_FALL` from one to the next."""
    midi = _scale_midi()
    notes = np.arange(_LOW_MIDI, _HIGH_MIDI + 1)
    columns = np.zeros((midi.size, notes.size))
    for overtone in range(1, _OVERTONES + 1):
        place = notes + 12.0 * np.log2(overtone)
        bump = np.exp(-0.5 * ((midi[:, None] - place) / 0.3) ** 2)
        columns += _OVERTONE_FALL ** (overtone - 1) * bump
    return columns


def _fold(notes: Array, low: int, high: int) -> Array:
    """Fold the notes between two pitches into pitch classes, the outermost counting less; strongest 1."""
    midi = np.arange(_LOW_MIDI, _HIGH_MIDI + 1)
    fade = np.clip((midi - low + 1) / 6.0, 0.0, 1.0) * np.clip((high + 1 - midi) / 6.0, 0.0, 1.0)
    folded = np.zeros((notes.shape[0], 12))
    for pitch_class in range(12):
        folded[:, pitch_class] = (notes * fade)[:, midi % 12 == pitch_class].sum(axis=1)
    strongest = folded.max(axis=1, keepdims=True)
    return folded / np.where(strongest > 0.0, strongest, 1.0)
