"""Reading takes: from audio to what each phrase and note was like.

Each take is heard by itself, which takes time and can be kept; then the takes of a line are judged together, which
takes none, for what several share is no fault of one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.takes.bleed import levelled
from obbligato.takes.hearing import hear, to_analysis_rate
from obbligato.takes.judge import Judgement, judge
from obbligato.takes.levels import Levels
from obbligato.takes.measure import TakeMeasures, measure_take, require_readable, timing_of
from obbligato.takes.pitch import ANALYSIS_SR, Floats
from obbligato.takes.place import Placement, place_heard, play_back, stated_placement
from obbligato.takes.readings import NoteReading, PhraseReading, TakeReading, TimedLine
from obbligato.takes.verdict import Wording, score, verdict

_WORKERS = 2
"""Takes read at a time; most of the work is done outside the interpreter's lock."""


@dataclass(frozen=True, eq=False)
class HeardTake:
    """What listening to one take by itself yields; the sound is not needed any more but for joining."""

    measures: TakeMeasures
    levels: Levels


@dataclass(frozen=True, eq=False)
class ReadTake:
    """A take with all that was found about it: the place, the measures, the level, and the reading."""

    path: str
    measures: TakeMeasures
    levels: Levels
    reading: TakeReading

    @property
    def placement(self) -> Placement:
        """Where the take lies on the guide's time."""
        return self.measures.placement


def read_takes(
    line: TimedLine,
    takes: Sequence[tuple[str, Audio]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    starts_s: Mapping[str, float] | None = None,
    progress: Progress = silent,
) -> tuple[ReadTake, ...]:
    """Place and read takes of a line together; see `hear_takes` and `judge_takes`."""
    heard = hear_takes(
        line,
        [(name, partial(_given, audio)) for name, audio in takes],
        guide=guide,
        click=click,
        a4_hz=a4_hz,
        grid=grid,
        starts_s=starts_s,
        progress=progress,
    )
    return judge_takes(line, tuple(heard), grid=grid, instrument=instrument)


def hear_takes(
    line: TimedLine,
    takes: Sequence[tuple[str, Callable[[], Audio]]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    starts_s: Mapping[str, float] | None = None,
    progress: Progress = silent,
) -> Iterator[HeardTake]:
    """Listen to takes of a line, each by itself, in the order given.

    Parameters
    ----------
    takes
        Each with the name it is to be reported under, and what reads it; few of them are in memory at a time.
    guide, click
        What the player heard, looked for as bleed.
    grid
        To know where clicks fall.
    starts_s
        Where takes start on the guide's time, for those whose player says so.

    Raises
    ------
    InputError
        When two takes have one name, or a take is silent, does not hold the line, or names a wrong sampling rate;
        the message begins with the take's name.
    """
    names = [name for name, _ in takes]
    if len(set(names)) < len(names):
        raise InputError("Two takes have the same name; give each file once.")
    sources = tuple(levelled(to_analysis_rate(audio)) for audio in (click, guide) if audio is not None)
    clicks_s = click_times(line, grid, click)
    starts = starts_s or {}

    def one(named: tuple[str, Callable[[], Audio]]) -> HeardTake:
        name, read = named
        return _hear_and_measure(
            name, read(), line, start_s=starts.get(name), sources=sources, a4_hz=a4_hz, clicks_s=clicks_s
        )

    with ThreadPoolExecutor(max_workers=_WORKERS) as pool:
        for i, heard in enumerate(pool.map(one, takes)):
            progress((i + 1) / len(takes), f"read {names[i]}")
            yield heard


def judge_takes(
    line: TimedLine, heard: Sequence[HeardTake], *, grid: Grid | None = None, instrument: Instrument | None = None
) -> tuple[ReadTake, ...]:
    """Judge takes that were heard, beside one another.

    Parameters
    ----------
    grid
        For bar numbers in the verdicts.
    instrument
        For note names in the verdicts: written pitch, as the player reads it.
    """
    judged = judge([take.measures for take in heard], line)
    wording = Wording(grid, instrument)
    return tuple(
        ReadTake(take.measures.path, take.measures, take.levels, _reading(take.measures, judgements, line, wording))
        for take, judgements in zip(heard, judged, strict=True)
    )


def _given(audio: Audio) -> Audio:
    return audio


def _hear_and_measure(
    name: str,
    take: Audio,
    line: TimedLine,
    *,
    start_s: float | None,
    sources: tuple[NDArray[np.float32], ...],
    a4_hz: float,
    clicks_s: tuple[Floats, ...],
) -> HeardTake:
    try:
        heard = hear(take, line, a4_hz=a4_hz)
        if start_s is None:
            placement, played = place_heard(heard, line, sources=sources, a4_hz=a4_hz)
            if placement.rate_suspect:
                raise InputError(placement.sentence)
        else:
            placement = stated_placement(start_s)
            played = play_back(heard, line, placement, a4_hz=a4_hz)
    except InputError as error:
        raise InputError(f"'{name}': {error}") from None
    measures = measure_take(
        name, take, line, heard=heard, placement=placement, played=played, a4_hz=a4_hz, click_times_s=clicks_s
    )
    require_readable(measures)
    return HeardTake(measures, Levels.of(heard))


def click_times(line: TimedLine, grid: Grid | None, click: Audio | None) -> tuple[Floats, ...]:
    """When the player may have heard clicks, one array for each way of clicking.

    The attacks of the click itself, or else the beats of the grid, and the beats with their divisions.
    """
    if click is not None:
        return (_attacks_s(click),)
    if grid is None:
        return ()
    beats = grid.beats_in(line.notes[0].start_s - 5.0, line.notes[-1].end_s + 5.0)
    parts = 3 if grid.meter.compound else 2
    divided = (beats[:, None] + np.arange(parts)[None, :] / parts).ravel()
    return grid.beat_to_sec(beats), grid.beat_to_sec(divided)


def _attacks_s(click: Audio) -> Floats:
    """Where a dry click sounds up from silence: first of the 5 ms steps above a tenth of its peak."""
    y = np.abs(to_analysis_rate(click))
    step = int(0.005 * ANALYSIS_SR)
    peaks = y[: len(y) // step * step].reshape(-1, step).max(axis=1)
    loud = peaks > 0.1 * float(peaks.max(initial=0.0))
    quiet_before = ~np.concatenate([[False] * 6, loud])[:-6]
    starts = np.flatnonzero(loud & ~np.concatenate([[False], loud[:-1]]) & quiet_before)
    return starts * step / ANALYSIS_SR


def _reading(
    measures: TakeMeasures, judgements: Sequence[Judgement], line: TimedLine, wording: Wording
) -> TakeReading:
    placement = measures.placement
    tuned = measures.cents[np.isfinite(measures.cents)]
    return TakeReading(
        path=measures.path,
        offset_ms=1e3 * placement.offset_s,
        drift_ppm=placement.drift_ppm,
        tuning_cents=float(np.median(tuned)) if tuned.size else 0.0,
        phrases=tuple(
            PhraseReading(
                index=phrase.index,
                score=score(judgement, measures, phrase),
                verdict=verdict(judgement, measures, line, phrase, wording=wording),
                flags=judgement.flags,
                notes=tuple(_note(measures, i) for i in range(phrase.first_note, phrase.last_note + 1)),
                extra_notes=len(measures.phrases[phrase.index].extra),
            )
            for phrase, judgement in zip(line.phrases, judgements, strict=True)
        ),
        timing=timing_of(measures, line),
        sentence=placement.sentence,
    )


def _note(measures: TakeMeasures, i: int) -> NoteReading:
    played = measures.played[i]

    def known(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    return NoteReading(
        i, played.right, known(measures.cents[i]), known(measures.late_ms[i]), known(measures.level_db[i])
    )
