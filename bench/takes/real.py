"""Recorded guitar tracks of four songs of Debian's `fretsonfire-songs-sectoid`, played back as takes.

There is no written line to them, so what is tried is what needs none: the place of a take by the band heard faintly
in it (the guide mixed in 42 dB under the guitar), at known offsets and clock drifts, and flat tops of cut peaks.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soxr

from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.takes.bleed import find_bleed
from obbligato.takes.hearing import to_analysis_rate
from obbligato.takes.sounds import flat_tops, is_clipped

SONGS = Path("/usr/share/games/fretsonfire/data/songs/sectoid")
LENGTH_S = 75.0
_CASES = ((1.0, 0.0), (-0.4, 0.0), (3.7, 80.0), (0.0, -150.0))
_GUIDE_DB = -42.0


@dataclass(eq=False)
class RealTally:
    """What was measured: placement errors, songs clipped and not, and a reason where there are none."""

    placed_ms: list[float] = field(default_factory=list)
    drifts_ppm: list[float] = field(default_factory=list)
    clipped: int = 0
    falsely: int = 0
    songs: int = 0
    reason: str = ""


def recorded_takes() -> RealTally:
    """Place and look at the recorded guitars, where they are installed."""
    total = RealTally()
    folders = [folder for folder in sorted(SONGS.glob("*/")) if (folder / "guitar.ogg").is_file()]
    if not folders:
        total.reason = "fretsonfire-songs-sectoid is not installed"
    for folder in folders:
        guitar, band = (read_audio(folder / name) for name in ("guitar.ogg", "song.ogg"))
        start = round(20.0 * guitar.sr)
        _song(guitar.mono()[start:], band.mono()[start:], guitar.sr, total)
    return total


def _song(guitar: np.ndarray, band: np.ndarray, sr: int, total: RealTally) -> None:
    n = round(LENGTH_S * sr)
    total.songs += 1
    usual, loud = (float(np.sqrt(np.mean(y[:n] ** 2))) for y in (guitar, band))
    mixed = guitar[:n] + band[:n] * usual / loud * 10 ** (_GUIDE_DB / 20)
    source = to_analysis_rate(Audio(band[None, :n], sr))
    rng = np.random.default_rng(total.songs)
    for offset_s, drift_ppm in _CASES:
        at = round(offset_s * sr)
        y = mixed[at:] if at >= 0 else np.concatenate([np.zeros(-at, np.float32), mixed])
        if drift_ppm:
            y = soxr.resample(y, sr, sr * (1.0 + drift_ppm * 1e-6), quality="VHQ")
        take = to_analysis_rate(Audio(np.asarray(y, np.float32)[None, :], sr))
        found = find_bleed(take, source, near_s=offset_s + rng.uniform(-0.08, 0.08))
        total.placed_ms.append(np.inf if found is None else 1e3 * abs(found.clock.offset_s - at / sr))
        if drift_ppm and found is not None:
            total.drifts_ppm.append(abs(found.clock.drift_ppm - drift_ppm))
    whole = Audio(mixed[None, :].astype(np.float32), sr)
    cut = np.clip(whole.y, -0.5 * np.abs(whole.y).max(), 0.5 * np.abs(whole.y).max())
    total.falsely += is_clipped(flat_tops(whole), 0.0, LENGTH_S)
    total.clipped += is_clipped(flat_tops(Audio(cut, sr)), 0.0, LENGTH_S)
