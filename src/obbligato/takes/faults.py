"""What is wrong with the sound of a whole take: mains hum, the wrong microphone, a machine that suppresses noise.

All three are read from what is there all the time: lines of the spectrum that stay when the notes change, the noise
of the room by frequency, and what is left of it between the notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from obbligato.sound import hum
from obbligato.sound.audio import Audio
from obbligato.sound.bandwidth import find_bandwidth
from obbligato.sound.suppression import find_suppression
from obbligato.takes.hearing import Heard
from obbligato.takes.notes import PlayedNote
from obbligato.takes.pitch import ANALYSIS_SR

_TAIL_S = 0.3
_SHORTEST_REST_S = 0.25


@dataclass(frozen=True)
class TakeSound:
    """The sound of a take as a whole.

    Attributes
    ----------
    hum_hz, hum_dbfs
        The mains' frequency, 0 where no hum is heard, and the level of the hum.
    narrow_hz
        The frequency above which there is nothing, None where the sound is full.
    silence_dbfs
        The level to which the sound drops, suddenly, after notes; None where it dies away as sound does.
    click_dbfs
        The level of the click, if there is one; None where nothing is alike at its moments.
    click_likeness
        How alike the moments of the clicks sound over the whole take, as in `bleed.click_likeness`.
    click_known
        Whether it is the click that was handed in, whose own sound is known, so that `click_dbfs` is sure.
    """

    hum_hz: float = 0.0
    hum_dbfs: float = 0.0
    narrow_hz: float | None = None
    silence_dbfs: float | None = None
    click_dbfs: float | None = None
    click_likeness: float = 0.0
    click_known: bool = False


def rests_of(heard: Heard, played: Sequence[PlayedNote]) -> tuple[tuple[float, float], ...]:
    """Stretches of a take, in its own seconds, in which neither a note nor its tail is heard."""
    spans = sorted((p.start_s, p.end_s) for p in played if p.start_s is not None and p.end_s is not None)
    rests, at_s = [], 0.0
    for start_s, end_s in [*spans, (heard.duration_s, heard.duration_s)]:
        if start_s - 0.03 - at_s >= _SHORTEST_REST_S:
            rests.append((at_s, start_s - 0.03))
        at_s = max(at_s, end_s + _TAIL_S)
    return tuple(rests)


def find_hum(heard: Heard, *, playing_dbfs: float) -> tuple[float, float]:
    """The mains' frequency and the level of its hum; zeros where none is heard. See `obbligato.sound.hum`."""
    found = hum.find_hum(heard.y, ANALYSIS_SR, playing_dbfs=playing_dbfs)
    return (0.0, 0.0) if found is None else (found.mains_hz, found.level_dbfs)


def narrow_hz(take: Audio, rests: Sequence[tuple[float, float]]) -> float | None:
    """The frequency above which a take holds nothing, None where it is full or nothing is known."""
    return find_bandwidth(take.mono(), take.sr, rests).edge_hz


def silence_dbfs(heard: Heard, played: Sequence[PlayedNote]) -> float | None:
    """The level to which a take drops after its notes where a machine has suppressed what sounds there."""
    ends_s = [p.end_s for p in played if p.end_s is not None]
    next_s = [*(p.start_s for p in played if p.start_s is not None), heard.duration_s][1:]
    found = find_suppression(heard.y, ANALYSIS_SR, list(zip(ends_s, next_s, strict=False)))
    return None if found is None else found.silence_dbfs
