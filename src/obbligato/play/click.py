"""The click: short soft tones on the beats of a grid, steady or drifting, each starting on its very sample.

The click has the guide's start and length, so that the two can be laid together; what of a count-in finds no room
before bar 1 is left out there. The count-in is also made as a sound of its own, which ends where bar 1 begins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.loudness import ABSOLUTE_GATE_LUFS, momentary_lufs
from obbligato.units import amplitude_to_db, db_to_amplitude

COUNT_IN_BARS = 2
SLOW_BPM = 70.0
"""Below this tempo the beats are too far apart to be played to, and are divided (common practice, no source)."""

ACCENT_HZ, BEAT_HZ, DIVISION_HZ = 1320.0, 990.0, 742.5
"""A fourth between each: told apart by ear, and below the 2 to 5 kHz in which hearing is keenest."""

ACCENT_DBFS, BEAT_DBFS, DIVISION_DBFS = -10.0, -13.0, -22.0
CLICK_S, RISE_S, DECAY_S = 0.07, 0.0015, 0.014
BAR_OVERTONE = 2.76
"""The first overtone of a struck bar (Fletcher & Rossing, The Physics of Musical Instruments; from memory)."""

ToneName = Literal["bar", "wood", "soft"]


@dataclass(frozen=True)
class Tone:
    """How a click sounds: pitch of accent, beat and division, rise and decay, and an overtone with its level."""

    accent_hz: float
    beat_hz: float
    division_hz: float
    rise_s: float
    decay_s: float
    overtone: float
    overtone_level: float


TONES: dict[ToneName, Tone] = {
    "bar": Tone(ACCENT_HZ, BEAT_HZ, DIVISION_HZ, RISE_S, DECAY_S, BAR_OVERTONE, 0.12),
    "wood": Tone(1000.0, 750.0, 562.5, 0.0008, 0.007, 1.58, 0.4),
    "soft": Tone(660.0, 495.0, 371.25, 0.004, 0.022, 2.0, 0.05),
}
"""Struck metal, for most music; wood, short, beside sustained sounds; soft, for quiet songs and tired ears."""

QUIET_LU = 6.0
"""A bar this much below the loudest tenth of bars is quiet; from there on the click goes down with the guide."""

MOST_SOFTER_DB = 10.0
THIN_FROM_DB = 5.0
"""A click softened by so much loses its divisions as well."""

MOMENTARY_HOP_S, MOMENTARY_S = 0.01, 0.4

FRAME_S, ATTACK_RISE_DB, ATTACK_BELOW_LOUD_DB = 0.05, 4.0, 20.0
"""An attack: the level of 50 ms rises by 4 dB within 100 ms, to within 20 dB of the loud frames."""

LOUD_PERCENTILE = 90.0
LONGEST_RING_S = 8.0
"""An attack longer than this before the end of the sound is not the last: music without clear attacks follows it."""


def click_track(
    grid: Grid,
    *,
    n_samples: int,
    sr: int,
    guide: Audio | None = None,
    first_beat: float | None = None,
    last_beat: float | None = None,
    count_in_bars: int = COUNT_IN_BARS,
    divide: int | None = None,
    tone: ToneName = "bar",
) -> Audio:
    """Click on the guide's time base: its start, its length, one channel.

    Parameters
    ----------
    guide
        If given, the click softens and thins out in quiet bars, and stops at the guide's last attack, so that the
        final sound rings out alone.
    first_beat, last_beat
        Beats from bar 1 (0.0) between which it clicks, both included. Usually from `count_in_bars` before bar 1, as
        far as the guide has room, to the last attack or the end.
    divide
        Clicks to a beat, 1 to 4. Usually 1; below 70 beats a minute 2, or 3 in compound metres.
    tone
        One of `TONES`.

    Raises
    ------
    InputError
        When `divide` is out of bounds or the guide's rate or length are not those asked for.
    """
    if divide is not None and not 1 <= divide <= 4:
        raise InputError(f"divide={divide}: a beat can be divided into 1 to 4 clicks.")
    if guide is not None and (guide.sr != sr or guide.n_samples != n_samples):
        raise InputError("The click must have the rate and the length of the guide that it follows.")
    length_s = n_samples / sr
    if first_beat is None:
        first_beat = grid.bar_to_beat(1 - count_in_bars)
    if last_beat is None:
        end_s = length_s if guide is None else _last_attack_s(guide)
        last_beat = float(np.round(grid.sec_to_beat(end_s)))
    parts = divide or _usual_division(grid)
    beats = np.arange(np.ceil(first_beat * parts), np.floor(last_beat * parts) + 1) / parts
    times_s = grid.beat_to_sec(beats)
    inside = (times_s >= 0) & (times_s < length_s)
    beats, times_s = beats[inside], times_s[inside]
    softer_db = np.zeros(len(beats)) if guide is None else _softening_db(grid, guide, beats)
    return _render(grid, beats, times_s, softer_db, n_samples=n_samples, sr=sr, tone=TONES[tone])


def count_in_click(
    grid: Grid, *, sr: int, bars: int = COUNT_IN_BARS, divide: int | None = None, tone: ToneName = "bar"
) -> Audio:
    """A count-in of its own: whole bars in the opening tempo, the end of the sound being bar 1 beat 1.

    Laid so that it ends at `grid.bar_1_s` it counts into the song; where the guide has less room before bar 1, it
    begins before the guide.

    Raises
    ------
    InputError
        When `bars` or `divide` are out of bounds.
    """
    if not 1 <= bars <= 8:
        raise InputError(f"bars={bars}: a count-in has 1 to 8 bars.")
    if divide is not None and not 1 <= divide <= 4:
        raise InputError(f"divide={divide}: a beat can be divided into 1 to 4 clicks.")
    parts = divide or _usual_division(grid)
    first = round(grid.bar_to_beat(1 - bars)) * parts
    beats = np.arange(first, 0) / parts
    times_s = grid.beat_to_sec(beats) - grid.bar_to_sec(1 - bars)
    n_samples = round((grid.bar_1_s - grid.bar_to_sec(1 - bars)) * sr)
    return _render(grid, beats, times_s, np.zeros(len(beats)), n_samples=n_samples, sr=sr, tone=TONES[tone])


def _usual_division(grid: Grid) -> int:
    if grid.mean_bpm >= SLOW_BPM:
        return 1
    return 3 if grid.meter.compound else 2


def _render(
    grid: Grid,
    beats: NDArray[np.float64],
    times_s: NDArray[np.float64],
    softer_db: NDArray[np.float64],
    *,
    n_samples: int,
    sr: int,
    tone: Tone,
) -> Audio:
    accent = _struck(tone, tone.accent_hz, ACCENT_DBFS, sr)
    on_beat = _struck(tone, tone.beat_hz, BEAT_DBFS, sr)
    division = _struck(tone, tone.division_hz, DIVISION_DBFS, sr)
    y = np.zeros(n_samples, np.float32)
    for beat, time_s, softer in zip(beats, times_s, softer_db, strict=True):
        if abs(beat - round(beat)) > 1e-6:
            if softer >= THIN_FROM_DB:
                continue
            sound = division
        elif round(beat) % grid.meter.beats_per_bar == 0:
            sound = accent
        else:
            sound = on_beat
        at = round(time_s * sr)
        end = min(at + len(sound), n_samples)
        y[at:end] += sound[: max(end - at, 0)] * np.float32(db_to_amplitude(-softer))
    return Audio(y, sr)


def _struck(tone: Tone, hz: float, dbfs: float, sr: int) -> Samples:
    """A short struck tone, its peak at `dbfs`; it rises along a half cosine and dies away to nothing."""
    t = np.arange(round(CLICK_S * sr)) / sr
    rise = np.where(t < tone.rise_s, 0.5 - 0.5 * np.cos(np.pi * t / tone.rise_s), 1.0)
    end = np.minimum(1.0, (CLICK_S - t) / (0.2 * CLICK_S))
    wave = np.cos(2 * np.pi * hz * t) + tone.overtone_level * np.cos(2 * np.pi * tone.overtone * hz * t)
    y = wave * rise * end * np.exp(-t / tone.decay_s)
    return np.asarray(y * (db_to_amplitude(dbfs) / np.abs(y).max()), dtype=np.float32)


def _softening_db(grid: Grid, guide: Audio, beats: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much softer each click is to be, from the loudness of its bar; before bar 1 nothing is softened."""
    windows = np.maximum(momentary_lufs(guide), ABSOLUTE_GATE_LUFS)
    centres_s = np.arange(len(windows)) * MOMENTARY_HOP_S + MOMENTARY_S / 2
    window_bars = np.floor((grid.sec_to_beat(centres_s) + 1e-6) / grid.meter.beats_per_bar).astype(int)
    bars = np.floor((beats + 1e-6) / grid.meter.beats_per_bar).astype(int)
    lufs = {bar: float(np.mean(windows[window_bars == bar])) for bar in set(window_bars.tolist()) if bar >= 0}
    if not lufs:
        return np.zeros(len(beats))
    loud_lufs = float(np.percentile(list(lufs.values()), LOUD_PERCENTILE))
    softer = [loud_lufs - QUIET_LU - lufs.get(bar, loud_lufs) if bar >= 0 else 0.0 for bar in bars.tolist()]
    return np.asarray(np.clip(softer, 0.0, MOST_SOFTER_DB))


def _last_attack_s(guide: Audio) -> float:
    """Time of the last attack of the guide, or of the end of its sound where no attack stands out near that end."""
    frame = max(1, round(FRAME_S * guide.sr))
    n = guide.n_samples // frame
    if n < 4 or not guide.y.any():
        return guide.duration_s
    power = np.square(guide.y[:, : n * frame].astype(np.float64)).mean(axis=0).reshape(n, frame).mean(axis=1)
    level_db = amplitude_to_db(np.sqrt(power))
    audible = level_db > np.percentile(level_db, LOUD_PERCENTILE) - ATTACK_BELOW_LOUD_DB
    sound_end = int(np.flatnonzero(audible)[-1]) + 1
    rises = level_db[2:] - np.minimum(level_db[1:-1], level_db[:-2]) >= ATTACK_RISE_DB
    attacks = np.flatnonzero(rises & audible[2:]) + 2
    near_end = attacks[attacks >= sound_end - LONGEST_RING_S / FRAME_S]
    return float(near_end[-1] if near_end.size else sound_end) * FRAME_S
