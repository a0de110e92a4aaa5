"""Everything measured about one take, note by note and phrase by phrase, before any of it is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.bleed import click_likeness
from obbligato.takes.clicking import Clicks, click_level_dbfs
from obbligato.takes.details import NoteDetail, detail_notes
from obbligato.takes.extras import ExtraNote, find_extra_notes
from obbligato.takes.faults import TakeSound, find_hum, narrow_hz, rests_of, silence_dbfs
from obbligato.takes.hearing import Heard
from obbligato.takes.notes import PlayedNote
from obbligato.takes.partials import Floats
from obbligato.takes.place import Placement
from obbligato.takes.readings import PhraseSpan, TakeTiming, TimedLine
from obbligato.takes.sounds import find_gap_s, flat_tops, is_clipped, loudest_breath_dbfs, loudest_stray_db
from obbligato.takes.stacking import click_dbfs
from obbligato.units import midi_to_hz

AROUND_S = 0.3
"""How far before and after its notes the sound of a phrase is judged."""
_EDGE_S = 0.005
_ROOM_RANGE_DB = 12.0
_STEP_LEAST_MS = 8.0
_LEAST_SPREAD_MS = 5.0
"""Players wander by at least this from phrase to phrase, however alike a few phrases may be."""


@dataclass(frozen=True, eq=False)
class PhraseMeasures:
    """One phrase in one take.

    Attributes
    ----------
    stray_db, stray_at_s
        The loudest sound that is no part of the playing, dBFS, and where on the guide's time.
    clipped, gap_s
        Whether peaks are cut flat; where sound is lost, on the guide's time.
    click_likeness
        How alike the moments of the clicks sound: 1 as chance has it, more where the click is heard; 0 where its own
        sound is known to be in the take, for then its level tells more.
    click_dbfs
        Level of the click where its own sound is known and surely heard, else None.
    cut_head, cut_tail
        Whether the take starts after, or ends before, some of the phrase.
    absent
        Whether all of it lies outside the take, or nothing was played where it should be.
    breath_dbfs
        The loudest breath in the rest before it; None where none was heard.
    """

    extra: tuple[ExtraNote, ...]
    stray_db: float
    stray_at_s: float
    clipped: bool
    gap_s: float | None
    click_likeness: float
    cut_head: bool
    cut_tail: bool
    absent: bool = False
    breath_dbfs: float | None = None
    click_dbfs: float | None = None


@dataclass(frozen=True, eq=False)
class TakeMeasures:
    """One take; arrays run over the notes of the line and are NaN where a note was not heard.

    Attributes
    ----------
    late_ms
        Start of each note against the line, after offset and drift.
    cents
        Against the song's tuning; NaN also where a wrong note was played.
    level_db
        dBFS.
    steady
        Notes whose pitch is worth judging alone.
    room_db
        Level of the room in the take's rests, dBFS.
    groove_ms
        Start of each note against where the guide's own playing lies; NaN also where that is not known.
    details, sound
        What else each note was like, and the sound of the take as a whole.
    """

    path: str
    placement: Placement
    played: tuple[PlayedNote, ...]
    late_ms: Floats
    cents: Floats
    level_db: Floats
    steady: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
    room_db: float
    phrases: tuple[PhraseMeasures, ...]
    groove_ms: Floats
    details: tuple[NoteDetail, ...]
    sound: TakeSound


def measure_take(
    path: str,
    take: Audio,
    line: TimedLine,
    *,
    heard: Heard,
    placement: Placement,
    played: tuple[PlayedNote, ...],
    a4_hz: float,
    clicks: Clicks,
    guide_late_s: Floats | None = None,
) -> TakeMeasures:
    """Measure a take that has been heard, placed and read.

    Parameters
    ----------
    clicks
        What the player may have heard as a click.
    guide_late_s
        How late the guide itself plays around each note, as from `groove.groove_s`.
    """
    starts_s = np.array([np.nan if p.start_s is None else p.start_s for p in played])
    nominal_s = np.array([note.start_s for note in line.notes])
    late_ms = 1e3 * (placement.to_guide_s(starts_s) - nominal_s)
    flats_s = flat_tops(take)
    sound = _sound(take, heard=heard, placement=placement, played=played, clicks=clicks)
    phrases = tuple(
        _measure_phrase(
            take,
            line,
            phrase,
            heard=heard,
            placement=placement,
            played=played,
            flats_s=flats_s,
            clicks=clicks,
            click_known=sound.click_known,
            a4_hz=a4_hz,
        )
        for phrase in line.phrases
    )
    return TakeMeasures(
        path=path,
        placement=placement,
        played=played,
        late_ms=late_ms,
        cents=np.array([np.nan if p.cents is None or not p.right else p.cents for p in played]),
        level_db=np.array([np.nan if p.level_db is None else p.level_db for p in played]),
        steady=np.array([p.steady and p.right for p in played]),
        room_db=heard.floor_db,
        phrases=phrases,
        groove_ms=np.full(len(late_ms), np.nan) if guide_late_s is None else late_ms - 1e3 * guide_late_s,
        details=detail_notes(heard, line, played, a4_hz=a4_hz),
        sound=sound,
    )


def _sound(
    take: Audio,
    *,
    heard: Heard,
    placement: Placement,
    played: tuple[PlayedNote, ...],
    clicks: Clicks,
) -> TakeSound:
    """The take as a whole; the click is that of the ways of clicking that is heard most alike."""
    levels = [p.level_db for p in played if p.level_db is not None]
    hum_hz, hum_dbfs = find_hum(heard, playing_dbfs=float(np.median(levels)) if levels else 0.0)
    edges_s = np.array([t for p in played for t in (p.start_s, p.end_s) if t is not None])
    known_dbfs = click_level_dbfs(heard.y, clicks, placement, start_s=0.0, end_s=heard.duration_s)
    levels_dbfs, likeness = [known_dbfs], 0.0
    if known_dbfs is None:
        in_take_s = [placement.to_take_s(times_s) for times_s in clicks.times_s]
        levels_dbfs = [click_dbfs(heard.y, times_s, edges_s.reshape(-1, 2)) for times_s in in_take_s]
        likeness = click_likeness(heard.y, in_take_s, edges_s)
    return TakeSound(
        hum_hz=hum_hz,
        hum_dbfs=hum_dbfs,
        narrow_hz=narrow_hz(take, rests_of(heard, played)),
        silence_dbfs=silence_dbfs(heard, played),
        click_dbfs=max((level for level in levels_dbfs if level is not None), default=None),
        click_likeness=likeness,
        click_known=known_dbfs is not None,
    )


def _measure_phrase(
    take: Audio,
    line: TimedLine,
    phrase: PhraseSpan,
    *,
    heard: Heard,
    placement: Placement,
    played: tuple[PlayedNote, ...],
    flats_s: Floats,
    clicks: Clicks,
    click_known: bool,
    a4_hz: float,
) -> PhraseMeasures:
    notes = line.notes[phrase.first_note : phrase.last_note + 1]
    mine = played[phrase.first_note : phrase.last_note + 1]
    start_s, end_s = (float(t) for t in placement.to_take_s(np.array([notes[0].start_s, notes[-1].end_s])))
    known_s = [t for p in mine for t in (p.start_s, p.end_s) if t is not None]
    first_s, last_s = min([start_s, *known_s]), max([end_s, *known_s])
    attacks_s = np.array([t for p in played for t in (p.start_s, p.end_s) if t is not None])
    from_s, to_s = _own_ground(line, phrase, placement, first_s, last_s)
    stray, stray_at_s = loudest_stray_db(heard, from_s, to_s, np.sort(attacks_s))
    gaps = (
        find_gap_s(take, p.start_s + 0.05, p.end_s - 0.03, f0_hz=float(midi_to_hz(line.notes[p.index].midi)))
        for p in mine
        if p.start_s is not None and p.end_s is not None
    )
    gap_s = next((g for g in gaps if g is not None), None)
    ways_s = () if click_known else tuple(map(placement.to_take_s, clicks.times_s))
    here_s = [way[(way > max(0.0, from_s)) & (way < min(to_s, heard.duration_s))] for way in ways_s]
    return PhraseMeasures(
        extra=find_extra_notes(heard, mine, from_s, to_s, a4_hz=a4_hz),
        stray_db=stray,
        stray_at_s=float(placement.to_guide_s(stray_at_s)),
        clipped=is_clipped(flats_s, first_s - 0.05, last_s + 0.05),
        gap_s=None if gap_s is None else float(placement.to_guide_s(gap_s)),
        click_likeness=click_likeness(heard.y, here_s, attacks_s) if here_s else 0.0,
        click_dbfs=click_level_dbfs(
            heard.y, clicks, placement, start_s=max(from_s, first_s - 0.1), end_s=min(to_s, last_s + 0.1)
        ),
        cut_head=start_s < -_EDGE_S,
        cut_tail=end_s > heard.duration_s + _EDGE_S,
        absent=end_s < _EDGE_S or start_s > heard.duration_s - _EDGE_S or _is_rest(heard, mine, first_s, last_s),
        breath_dbfs=loudest_breath_dbfs(heard, from_s - AROUND_S, first_s, np.sort(attacks_s)),
    )


def _is_rest(heard: Heard, played: Sequence[PlayedNote], first_s: float, last_s: float) -> bool:
    """Whether a phrase was not begun at all: none of its notes was heard, and nothing but the room."""
    loudest_db = heard.level_db[heard.frames_between(first_s, last_s)].max(initial=-np.inf)
    return not any(p.heard for p in played) and loudest_db < heard.floor_db + _ROOM_RANGE_DB


def _own_ground(
    line: TimedLine, phrase: PhraseSpan, placement: Placement, first_s: float, last_s: float
) -> tuple[float, float]:
    """The phrase with some of the rests around it, but at most half of each."""
    before_s, after_s = AROUND_S, AROUND_S
    if phrase.first_note > 0:
        gap_s = line.notes[phrase.first_note].start_s - line.notes[phrase.first_note - 1].end_s
        before_s = float(np.clip(gap_s / 2, 0.0, AROUND_S))
    if phrase.last_note < len(line.notes) - 1:
        gap_s = line.notes[phrase.last_note + 1].start_s - line.notes[phrase.last_note].end_s
        after_s = float(np.clip(gap_s / 2, 0.0, AROUND_S))
    return first_s - before_s, last_s + after_s


def timing_of(measures: TakeMeasures, line: TimedLine) -> TakeTiming:
    """Offset, slope, step and scatter of a take, from its right notes."""
    right = np.array([p.right for p in measures.played])
    if not right.any():
        return TakeTiming()
    at_s = np.array([note.start_s for note in line.notes])
    late_ms = measures.late_ms
    phrase_late, phrase_at = [], []
    for phrase in line.phrases:
        inside = np.arange(phrase.first_note, phrase.last_note + 1)
        inside = inside[right[inside]]
        if inside.size:
            phrase_late.append(float(np.median(late_ms[inside])))
            phrase_at.append(float(at_s[inside[0]]))
    step_ms, step_at_s = _step(np.array(phrase_late), phrase_at)
    losses = measures.placement.losses
    lost = [(float(measures.placement.to_guide_s(loss.at_s)), -1e3 * loss.lost_s) for loss in losses]
    rest = late_ms[right] - (0.0 if step_at_s is None else step_ms * (at_s[right] >= step_at_s))
    centre = float(np.median(rest))
    return TakeTiming(
        lateness_ms=float(np.median(phrase_late)),
        slope_ppm=measures.placement.drift_ppm,
        step_ms=step_ms,
        step_at_s=step_at_s,
        scatter_ms=1.4826 * float(np.median(np.abs(rest - centre))),
        steps=tuple(sorted([*lost, *([] if step_at_s is None else [(step_at_s, step_ms)])])),
    )


def _step(late_ms: Floats, at_s: Sequence[float]) -> tuple[float, float | None]:
    """The lasting jump that best splits the phrases, four or more on each side, if five times its error."""
    best, best_at, best_score = 0.0, None, 5.0
    for k in range(4, len(late_ms) - 3):
        before, after = late_ms[:k], late_ms[k:]
        jump = float(np.median(after) - np.median(before))
        spread = 1.4826 * float(
            np.median(np.abs(np.concatenate([before - np.median(before), after - np.median(after)])))
        )
        error = 1.25 * max(spread, _LEAST_SPREAD_MS) * float(np.sqrt(1 / len(before) + 1 / len(after)))
        if abs(jump) >= _STEP_LEAST_MS and abs(jump) / error > best_score:
            best, best_at, best_score = jump, at_s[k], abs(jump) / error
    return best, best_at


def require_readable(measures: TakeMeasures) -> None:
    """Refuse a take in which next to nothing of the line was played.

    Raises
    ------
    InputError
        When no note of the line was heard.
    """
    if not any(p.right for p in measures.played):
        raise InputError(f"'{measures.path}' holds none of the line's notes; check that it is the right file.")
