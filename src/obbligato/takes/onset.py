"""When each note starts: on the samples, by the rise of its own partials, or where a slur passes its middle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.takes.attack import Attack
from obbligato.takes.hearing import Heard
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S
from obbligato.takes.readings import TimedNote
from obbligato.takes.rising import STRUCK_DIP_DB, dip_db, rise_begins_s
from obbligato.units import midi_to_hz

CONTIGUOUS_S = 0.045
"""A gap up to which a note follows directly upon another."""
_CLEAN_RISE_DB = 20.0
_NEAR_FLOOR_DB = 14.0
_STILL_SOUNDS_S = 0.5
_FURTHEST_S = 0.06


@dataclass(frozen=True)
class Before:
    """The note before: its pitch in the line, and where it sounded in the take, seconds."""

    midi: int
    start_s: float
    end_s: float


def find_onset(
    heard: Heard,
    midi: Floats,
    note: TimedNote,
    *,
    span: tuple[float, float],
    attack: Attack | None,
    old: Before | None,
) -> tuple[float, bool]:
    """Start of a note in the take, and whether it stands clear of what went before, so that it is good to 1 ms.

    Parameters
    ----------
    midi
        Pitch heard in each frame.
    span
        The stretch of the take that is the note, to a frame.
    attack
        What the level shows around its beginning.
    old
        The note before it, if one was heard.
    """
    start_s, end_s = span
    if attack is not None and attack.rise_db >= _CLEAN_RISE_DB:
        before = heard.frames_between(attack.at_s - 0.05, attack.at_s - 0.01)
        floor_db = float(heard.level_db[before].min()) if before.stop > before.start else heard.floor_db
        return attack.at_s, floor_db < heard.floor_db + _NEAR_FLOOR_DB
    contiguous = old is not None and start_s - old.end_s < CONTIGUOUS_S
    other = old is not None and old.midi != note.midi
    f0_hz = _pitch_hz(heard, midi, start_s + 0.03, end_s, note.midi)
    near_s = start_s if attack is None else attack.at_s
    if old is not None and contiguous and other:
        crossing_s = _crossing_s(heard, midi, start_s, (old.midi + note.midi) / 2, rising=note.midi > old.midi)
        if crossing_s is not None:
            near_s = crossing_s
            if dip_db(heard.y, crossing_s, f0_hz=min(f0_hz, float(midi_to_hz(old.midi)))) < STRUCK_DIP_DB:
                return crossing_s, False
    sounds = old is not None and other and start_s - old.end_s < _STILL_SOUNDS_S
    old_hz = _pitch_hz(heard, midi, old.start_s, old.end_s - 0.02, old.midi) if old is not None and sounds else None
    begins_s = rise_begins_s(heard.y, near_s, f0_hz=f0_hz, old_hz=old_hz, until_s=end_s)
    if begins_s is not None and abs(begins_s - near_s) <= _FURTHEST_S:
        return begins_s, False
    return (attack.at_s if attack is not None and attack.clear else near_s), False


def _pitch_hz(heard: Heard, midi: Floats, start_s: float, end_s: float, nominal: int) -> float:
    """Median pitch heard in a stretch, as far as it lies about where the line has it."""
    frames = heard.frames_between(start_s, max(end_s, start_s + HOP_S))
    here = midi[frames][heard.track.voiced[frames]]
    here = here[np.abs(here - nominal) < 1.5]
    return float(midi_to_hz(np.median(here) if here.size else nominal))


def _crossing_s(heard: Heard, midi: Floats, near_s: float, middle: float, *, rising: bool) -> float | None:
    """Where the pitch passes the middle between two notes."""
    frames = heard.frames_between(near_s - 0.08, near_s + 0.08)
    height = (midi[frames] - middle) * (1.0 if rising else -1.0)
    voiced = heard.track.voiced[frames]
    at = np.flatnonzero((height[:-1] < 0) & (height[1:] >= 0) & voiced[:-1] & voiced[1:])
    if not at.size:
        return None
    times_s = heard.track.times_s[frames]
    i = int(at[np.argmin(np.abs(times_s[at] - near_s))])
    if height[i + 1] - height[i] > 14.0:
        return None
    return float(times_s[i] + HOP_S * -height[i] / (height[i + 1] - height[i]))
