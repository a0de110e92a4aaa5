"""What is heard during a take: count-in or run-in, the song with its click, and time for the last sound to ring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.sound.audio import Audio, Samples

LEAD_S = 0.5
"""Recorded before the first click, for the breath."""

RUN_IN_BARS, PLAY_OUT_BARS = 2, 1
TAIL_S = 3.5
"""Recorded after the last sound played: three seconds of ring (common practice, no source), and the round trip."""

EDGE_S = 0.02


@dataclass(frozen=True, eq=False)
class TakeSound:
    """What to play, shape (frames, 2), and where on the guide's time its first frame lies, in seconds."""

    y: Samples
    sr: int
    starts_at_s: float


def take_sound(
    phones: Audio, count_in: Audio, grid: Grid, *, bars: tuple[int, int] | None = None, tail_s: float = TAIL_S
) -> TakeSound:
    """The sound for the whole song, or for some bars with two bars before and one after them.

    Parameters
    ----------
    phones
        Guide and click, on the guide's time.
    count_in
        Ends where bar 1 begins; what of it lies before the guide is put there.
    tail_s
        Silence after the last sound, for the ring and the round trip.

    Raises
    ------
    InputError
        When the bars are not in the song.
    """
    sr = phones.sr
    before = max(0, count_in.n_samples - round(grid.bar_1_s * sr))
    y = np.concatenate((count_in.mono()[:before][None, :].repeat(2, axis=0), _two_channels(phones)), axis=1)
    first, last = 0, y.shape[1]
    if bars is not None:
        end_s = min(phones.duration_s, grid.bar_to_sec(bars[1] + 1 + PLAY_OUT_BARS))
        if not 1 <= bars[0] <= bars[1] or grid.bar_to_sec(bars[0]) >= phones.duration_s:
            raise InputError(
                f"There are no bars {bars[0]}-{bars[1]} in this song; look at them with: obbligato map JOB"
            )
        first = max(0, before + round(grid.bar_to_sec(bars[0] - RUN_IN_BARS) * sr))
        last = before + round(end_s * sr)
    piece = y[:, first:last].copy()
    edge = min(round(EDGE_S * sr), piece.shape[1])
    if first:
        piece[:, :edge] *= np.linspace(0.0, 1.0, edge, dtype=np.float32)
    if last < y.shape[1]:
        piece[:, -edge:] *= np.linspace(1.0, 0.0, edge, dtype=np.float32)
    lead, tail = round(LEAD_S * sr), round(tail_s * sr)
    padded = np.pad(piece, ((0, 0), (lead, tail)))
    return TakeSound(np.ascontiguousarray(padded.T), sr, (first - before - lead) / sr)


def _two_channels(audio: Audio) -> Samples:
    return np.repeat(audio.y, 2, axis=0) if audio.channels == 1 else audio.y[:2]
