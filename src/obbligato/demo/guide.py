"""The client's guide: the band and the singer mixed in a mild room."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from obbligato.demo.chordal import play_bass, play_keys
from obbligato.demo.drums import count_in, play_drums
from obbligato.demo.song import Song
from obbligato.demo.tones import Signal, room
from obbligato.demo.voice import VoiceStyle, sing
from obbligato.music.spans import Span
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.units import db_to_amplitude

GUIDE_SR = 48000
_CEILING = float(db_to_amplitude(-1.2))
_KNEE = 0.6
"""Below this share of the ceiling the mix is left alone; above it peaks are rounded."""


@dataclass(frozen=True)
class Mix:
    """Levels of the mix in dB (0 as the parts are rendered), share of room, and the loudest peak before rounding."""

    drums_db: float = 2.0
    bass_db: float = 0.0
    keys_db: float = -3.0
    voice_db: float = -1.0
    room_db: float = -15.0
    count_in_db: float = -3.0
    drive_db: float = -1.0


@dataclass(frozen=True, eq=False)
class Guide:
    """The guide as sound, with the spans in which the singer was made to sing."""

    audio: Audio
    voice: tuple[Span, ...]


def render_guide(
    song: Song,
    *,
    seed: int,
    sr: int = GUIDE_SR,
    mix: Mix = Mix(),
    style: VoiceStyle = VoiceStyle(),  # noqa: B008  (frozen)
    progress: Progress = silent,
) -> Guide:
    """Render the guide in stereo; the same seed gives the same samples."""
    n_samples = round(song.duration_s * sr)
    rngs = [np.random.default_rng([seed, part]) for part in range(5)]
    progress(0.0, "playing the band, singing")
    with ThreadPoolExecutor(max_workers=2) as pool:
        singing = pool.submit(
            sing, song.lines, song.grid, n_samples=n_samples, sr=sr, a4_hz=song.a4_hz, rng=rngs[3], style=style
        )
        playing = [
            pool.submit(play, song, n_samples=n_samples, sr=sr, rng=rng)
            for play, rng in ((play_keys, rngs[2]), (play_drums, rngs[0]), (play_bass, rngs[1]))
        ]
        keys, drums, bass = (
            part.result() * db_to_amplitude(level_db)
            for part, level_db in zip(playing, (mix.keys_db, mix.drums_db, mix.bass_db), strict=True)
        )
        voice, spans = singing.result()
    voice = voice * db_to_amplitude(mix.voice_db)
    progress(0.75, "mixing the guide")
    sent = 0.8 * drums + keys + 1.1 * voice
    band = drums + bass * np.sqrt(0.5) + keys + voice * np.sqrt(0.5)
    wet = room(sent, sr=sr, rng=rngs[4]) * db_to_amplitude(mix.room_db)
    clicks = count_in(song, n_samples=n_samples, sr=sr) * db_to_amplitude(mix.count_in_db)
    mixed = (band + wet) * db_to_amplitude(mix.drive_db) + clicks
    fade = np.clip((n_samples - np.arange(n_samples)) / (0.8 * sr), 0.0, 1.0)
    progress(1.0, "guide rendered")
    return Guide(Audio(np.asarray(rounded_peaks(mixed) * fade, dtype=np.float32), sr), spans)


def rounded_peaks(y: Signal, *, ceiling: float = _CEILING, knee: float = _KNEE) -> Signal:
    """Round off what exceeds `knee` of the ceiling so that nothing reaches the ceiling; the rest is unchanged."""
    start = knee * ceiling
    span = ceiling - start
    out = y.copy()
    loud = np.abs(y) > start
    peaks = y[loud]
    out[loud] = np.sign(peaks) * (start + span * np.tanh((np.abs(peaks) - start) / span))
    return out
