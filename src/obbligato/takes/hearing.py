"""What a take is heard as: pitch, level and attacks over time, computed once and shared by all readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
import soxr
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.pitch import ANALYSIS_SR, HOP_LENGTH, HOP_S, Floats, PitchTrack, track_pitch
from obbligato.takes.readings import TimedLine
from obbligato.units import SILENCE_DB, amplitude_to_db, midi_to_hz

FLUX_PER_FRAME = 4
_FLUX_HOP = HOP_LENGTH // FLUX_PER_FRAME
_FLUX_FFT = 512
_COMPRESSION = 1000.0
_SHORTEST_S = 0.1
_SILENT_PEAK = 1e-4
_PITCH_REACH_S = 0.4
_CLEAR_PITCH = 0.85
_LEAP = 4.0
"""Semitones in four frames: a slip of the tracker rather than a glide."""
_LEAST_LEFT = 0.05
"""Share of a spectrum that must lie away from the partials for anything to be told of it."""
_LEAST_RANGE_DB, _USUAL_RANGE_DB = 20.0, 50.0
"""Where less than the first is between playing and the rest, and silence besides, no room is heard at all."""


@dataclass(frozen=True, eq=False)
class Heard:
    """One take as heard.

    Attributes
    ----------
    y
        Mono samples at `ANALYSIS_SR`.
    track
        Pitch, one frame every `HOP_S`.
    level_db
        RMS of each frame's 32 ms, dBFS, shape (n_frames,).
    flux
        Strength of attack in each frame (rise of the compressed spectrum), 1 being a clear attack of this take.
    stray_db
        RMS of what is not a partial of the frame's pitch, dBFS; in frames without pitch the whole level.
    floor_db
        Level of the room: what the quietest tenth of the frames that are not digital silence lie under.
    named_sr
        The sampling rate that the take's file names, Hz.
    """

    y: NDArray[np.float32]
    track: PitchTrack
    level_db: Floats
    flux: Floats
    stray_db: Floats
    floor_db: float
    named_sr: int

    @property
    def duration_s(self) -> float:
        """Length of the take."""
        return len(self.y) / ANALYSIS_SR

    @property
    def n_frames(self) -> int:
        """Number of frames."""
        return len(self.level_db)

    def frames_between(self, start_s: float, end_s: float) -> slice:
        """Frames whose middle lies in a stretch of the take; may be empty."""
        first = int(np.clip(np.ceil(start_s / HOP_S), 0, self.n_frames))
        last = int(np.clip(np.ceil(end_s / HOP_S), first, self.n_frames))
        return slice(first, last)


def pitch_range_hz(line: TimedLine, a4_hz: float) -> tuple[float, float]:
    """The range to listen for: the line's, with a fourth to spare either way."""
    pitches = [note.midi for note in line.notes]
    lowest_hz, highest_hz = midi_to_hz([min(pitches) - 5, max(pitches) + 5], a4_hz=a4_hz)
    return float(lowest_hz), float(highest_hz)


def hear(take: Audio, line: TimedLine, *, a4_hz: float) -> Heard:
    """Listen to a take.

    Raises
    ------
    InputError
        When the take is empty, too short to hold a note, or silent.
    """
    if take.duration_s < _SHORTEST_S:
        raise InputError(f"The take is {take.duration_s:.2f} s long, too short to hold a note; record it again.")
    if float(np.abs(take.y).max()) < _SILENT_PEAK:
        raise InputError("The take is silent; check which input was recorded.")
    y = to_analysis_rate(take)
    lowest_hz, highest_hz = pitch_range_hz(line, a4_hz)
    track = track_pitch(y, lowest_hz=lowest_hz, highest_hz=highest_hz)
    n_frames = len(track.times_s)
    level_db = frame_levels_db(y, n_frames)
    return Heard(
        y,
        track,
        level_db,
        _flux(y, n_frames),
        _stray_db(y, track, level_db),
        _floor_db(level_db),
        take.sr,
    )


def to_analysis_rate(audio: Audio) -> NDArray[np.float32]:
    """The mean of the channels at `ANALYSIS_SR`."""
    mono = audio.mono()
    return mono if audio.sr == ANALYSIS_SR else np.asarray(soxr.resample(mono, audio.sr, ANALYSIS_SR), np.float32)


def frame_levels_db(y: NDArray[np.float32], n_frames: int) -> Floats:
    """RMS over the 32 ms around each frame's time, dBFS, shape (n_frames,)."""
    padded = np.pad(y[: n_frames * HOP_LENGTH], (HOP_LENGTH, max(0, n_frames * HOP_LENGTH - len(y))))
    rows = padded.reshape(-1, HOP_LENGTH)
    hops = np.einsum("ij,ij->i", rows, rows).astype(np.float64) / HOP_LENGTH
    return np.asarray(amplitude_to_db(np.sqrt((hops[:-1] + hops[1:]) / 2)), dtype=np.float64)


def _floor_db(level_db: Floats) -> float:
    sounding = level_db[level_db > SILENCE_DB + 80.0]
    if not sounding.size:
        return SILENCE_DB
    floor_db, playing_db = (float(level) for level in np.percentile(sounding, [10, 90]))
    nothing_but_playing = len(sounding) < len(level_db) and floor_db > playing_db - _LEAST_RANGE_DB
    return playing_db - _USUAL_RANGE_DB if nothing_but_playing else floor_db


def _flux(y: NDArray[np.float32], n_frames: int) -> Floats:
    """Half-wave rectified rise of the log-compressed spectrum over 8 ms, its largest value in each frame."""
    padded = np.pad(y, _FLUX_FFT // 2 + 2 * _FLUX_HOP)
    frames = np.lib.stride_tricks.sliding_window_view(padded, _FLUX_FFT)[::_FLUX_HOP]
    window = np.hanning(_FLUX_FFT).astype(np.float32)
    n_fine = n_frames * FLUX_PER_FRAME
    fine = np.zeros(n_fine)
    for at in range(0, n_fine, 4096):
        block = frames[at : at + 4096 + 2]
        magnitude = np.log1p(_COMPRESSION / _FLUX_FFT * np.abs(scipy.fft.rfft(block * window, axis=1)))
        rise = np.maximum(magnitude[2:] - magnitude[:-2], 0.0).sum(axis=1)[: n_fine - at]
        fine[at : at + len(rise)] = rise
    coarse = np.maximum(fine, np.roll(fine, 2)).reshape(n_frames, FLUX_PER_FRAME).max(axis=1)
    return np.asarray(coarse / max(float(np.percentile(coarse, 98)), 1e-9), dtype=np.float64)


def _stray_db(y: NDArray[np.float32], track: PitchTrack, level_db: Floats) -> Floats:
    """Energy away from the partials, by leaving out the bins around each multiple of the nearest pitch heard.

    The nearest pitch stands in for up to `_PITCH_REACH_S`, so that a burst that hides a note's pitch is told from
    the note. Where the pitch moves, each partial is spread out as far as it moves within the spectrum's window, and
    so much wider is what is left out around it; `-inf` where next to nothing would be left to judge by.
    """
    n_fft = 1024
    stray = np.array(level_db)
    f0_of_frame_hz = _nearest_pitch_hz(track)
    moved_hz = _moved_hz(track, f0_of_frame_hz)
    voiced = np.flatnonzero(f0_of_frame_hz > 0)
    padded = np.pad(y, n_fft)
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_fft)
    window = np.hanning(n_fft).astype(np.float32)
    scale = 2.0 / (n_fft * float(np.sum(window**2)))
    bins_hz = np.arange(n_fft // 2 + 1) * ANALYSIS_SR / n_fft
    keep_from = bins_hz > 100.0
    for at in range(0, len(voiced), 2048):
        chosen = voiced[at : at + 2048]
        starts = np.clip(chosen * HOP_LENGTH + n_fft // 2, 0, len(padded) - n_fft)
        power = np.abs(scipy.fft.rfft(frames[starts] * window, axis=1)) ** 2
        f0_hz = f0_of_frame_hz[chosen][:, None]
        partial = np.maximum(np.round(bins_hz / f0_hz), 1.0)
        spread_hz = np.minimum(45.0, 0.3 * f0_hz) + partial * moved_hz[chosen][:, None]
        away = keep_from & (np.abs(bins_hz - f0_hz * partial) > spread_hz)
        covered = away.sum(axis=1) / keep_from.sum()
        level_db = amplitude_to_db(np.sqrt(scale * (power * away).sum(axis=1) / np.maximum(covered, _LEAST_LEFT)))
        stray[chosen] = np.where(covered >= _LEAST_LEFT, level_db, -np.inf)
    return stray


def _moved_hz(track: PitchTrack, around_hz: Floats) -> Floats:
    """How far from a frequency a clear pitch lies at most within the spectrum of each frame; 0 for a leap."""
    clear = scipy.ndimage.minimum_filter1d(track.confidence, 5) > _CLEAR_PITCH
    highest = scipy.ndimage.maximum_filter1d(track.f0_hz, 5)
    lowest = scipy.ndimage.minimum_filter1d(track.f0_hz, 5)
    near = highest < 2.0 ** (_LEAP / 12) * lowest
    moved = np.maximum(highest - around_hz, around_hz - lowest)
    return np.where(clear & near, moved, 0.0)


def _nearest_pitch_hz(track: PitchTrack) -> Floats:
    """The pitch of the nearest pitched frame, lone slips smoothed away; 0 where none is near."""
    voiced = np.flatnonzero(track.voiced)
    if not voiced.size:
        return np.zeros(len(track.times_s))
    smooth = scipy.ndimage.median_filter(track.f0_hz[voiced], 5, mode="nearest")
    frames = np.arange(len(track.times_s))
    after = np.clip(np.searchsorted(voiced, frames), 0, len(voiced) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.where(np.abs(voiced[before] - frames) <= np.abs(voiced[after] - frames), before, after)
    return np.where(np.abs(voiced[nearer] - frames) * HOP_S <= _PITCH_REACH_S, smooth[nearer], 0.0)
