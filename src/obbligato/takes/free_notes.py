"""What was played in a take of which no line is written: its notes, by pitch and level alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.ndimage

from obbligato.sound.audio import Audio
from obbligato.takes.bleed import find_bleed
from obbligato.takes.hearing import Heard, hear, to_analysis_rate
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S
from obbligato.takes.place import AIR_S
from obbligato.takes.readings import TimedLine, TimedNote
from obbligato.takes.sounds import flat_tops
from obbligato.units import hz_to_midi

USUAL_RANGE = (40, 90)
"""Sounding pitches listened for where the instrument is not known."""
_SHORTEST_S = 0.08
_ATTACK = 0.6
_RISE_DB, _RISE_FRAMES = 3.0, 5
_SMOOTH_FRAMES = 7
_OVER_ROOM_DB = 10.0
_UNDER_PLAYING_DB = 40.0
_EDGE_S = 0.03


@dataclass(frozen=True)
class FreeNote:
    """A note as it was played: on the guide's time, its nearest pitch at the song's tuning and how far it is off."""

    start_s: float
    end_s: float
    midi: int
    cents: float
    level_db: float


@dataclass(frozen=True, eq=False)
class FreeTake:
    """A take as heard, with nothing to compare it by.

    Attributes
    ----------
    offset_s
        Its first sample on the guide's time.
    by_bleed
        Whether that was heard, or is taken to be the guide's start.
    flat_tops_s
        Where peaks are cut flat, in the take's own time.
    """

    path: str
    heard: Heard
    offset_s: float
    by_bleed: bool
    notes: tuple[FreeNote, ...]
    flat_tops_s: Floats

    @property
    def playing_dbfs(self) -> float:
        """Median level of its notes; the room where there is none."""
        levels = [note.level_db for note in self.notes]
        return float(np.median(levels)) if levels else self.heard.floor_db


def hear_free(
    path: str,
    take: Audio,
    *,
    a4_hz: float,
    guide: Audio | None = None,
    start_s: float | None = None,
    range_midi: tuple[int, int] = USUAL_RANGE,
) -> FreeTake:
    """Listen to a take with no line.

    It is taken to start with the guide, unless it holds the sound of the headphones near there, or its player says
    otherwise (`start_s`).

    Raises
    ------
    InputError
        When the take is silent or too short.
    """
    ends = TimedLine(tuple(TimedNote(i, 0.0, 1.0, midi) for i, midi in enumerate(range_midi)), ())
    heard = hear(take, ends, a4_hz=a4_hz)
    bleed = None
    if start_s is None and guide is not None:
        bleed = find_bleed(heard.y, to_analysis_rate(guide), near_s=0.0)
    heard_at_s = 0.0 if bleed is None else bleed.clock.offset_s + AIR_S
    offset_s = start_s if start_s is not None else heard_at_s
    notes = tuple(
        FreeNote(note.start_s + offset_s, note.end_s + offset_s, note.midi, note.cents, note.level_db)
        for note in find_notes(heard, a4_hz=a4_hz)
    )
    return FreeTake(path, heard, offset_s, bleed is not None, notes, flat_tops(take))


def find_notes(heard: Heard, *, a4_hz: float) -> tuple[FreeNote, ...]:
    """The notes of a take in its own time: stretches of one pitch, parted where the pitch moves by more than half a
    semitone, falls silent, or is struck anew.

    Each one's cents are the median over it against the nearest pitch of equal temperament, its edges left out.
    """
    track = heard.track
    loud = heard.level_db > max(heard.floor_db + _OVER_ROOM_DB, np.percentile(heard.level_db, 95) - _UNDER_PLAYING_DB)
    pitched = track.voiced & loud
    midi = np.asarray(hz_to_midi(np.maximum(track.f0_hz, 1.0), a4_hz=a4_hz))
    smooth = scipy.ndimage.median_filter(midi, _SMOOTH_FRAMES, mode="nearest")
    flux, level_db = heard.flux, heard.level_db
    before_db = scipy.ndimage.minimum_filter1d(level_db, _RISE_FRAMES, origin=_RISE_FRAMES // 2, mode="nearest")
    rises = np.roll(level_db, -2) - before_db >= _RISE_DB
    struck = rises & (flux > _ATTACK) & (flux >= np.roll(flux, 1)) & (flux > np.roll(flux, -1))
    notes: list[FreeNote] = []
    first = 0
    for i in range(1, len(midi) + 1):
        if i < len(midi) and pitched[i] and pitched[i - 1]:
            centre = float(np.median(smooth[first:i]))
            moved = abs(smooth[i] - centre) > 0.5 and abs(smooth[min(i + 2, len(midi) - 1)] - centre) > 0.5
            again = bool(struck[i]) and (i - first) * HOP_S >= _SHORTEST_S
            if not (moved or again):
                continue
        if pitched[first] and (i - first) * HOP_S >= _SHORTEST_S:
            notes.append(_note(heard, midi, first, i))
        first = i
    return tuple(notes)


def _note(heard: Heard, midi: Floats, first: int, end: int) -> FreeNote:
    edge = min(round(_EDGE_S / HOP_S), (end - first) // 4)
    pitch = float(np.median(midi[first + edge : end - edge]))
    level_db = 10.0 * np.log10(np.mean(10.0 ** (heard.level_db[first:end] / 10.0)))
    return FreeNote(first * HOP_S, end * HOP_S, round(pitch), 100.0 * (pitch - round(pitch)), float(level_db))
