"""Reading takes: from audio to what each phrase and note was like.

Each take is heard by itself, which takes time and can be kept; then the takes of a line are judged together, which
takes none, for what several share is no fault of one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.music.spans import ChordSpan
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.takes.beside import settle_beside
from obbligato.takes.clicking import Clicks
from obbligato.takes.groove import groove_s
from obbligato.takes.hearing import hear, to_analysis_rate
from obbligato.takes.intonation import pure_places_cents
from obbligato.takes.judge import OF_THE_TAKE, Judgement, judge
from obbligato.takes.levels import Levels
from obbligato.takes.measure import TakeMeasures, measure_take, require_readable, timing_of
from obbligato.takes.partials import Floats
from obbligato.takes.passes import cut_out, find_passes, name_of_pass, passes_in_words
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.place import Placement, place_heard, play_back, stated_placement
from obbligato.takes.readings import NoteReading, PhraseReading, TakeReading, TimedLine
from obbligato.takes.remarks import flags_of_the_clock, remarks
from obbligato.takes.verdict import Wording, score, score_parts, verdict

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
    takes: Sequence[tuple[str, Audio | Callable[[], Audio]]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    chords: Sequence[ChordSpan] = (),
    starts_s: Mapping[str, float] | None = None,
    divide: bool = False,
    progress: Progress = silent,
) -> tuple[ReadTake, ...]:
    """Place and read takes of a line together; see `hear_takes` and `judge_takes`."""
    heard = hear_takes(
        line,
        [(name, partial(_given, audio) if isinstance(audio, Audio) else audio) for name, audio in takes],
        guide=guide,
        click=click,
        a4_hz=a4_hz,
        grid=grid,
        starts_s=starts_s,
        divide=divide,
        progress=progress,
    )
    return judge_takes(line, tuple(heard), grid=grid, instrument=instrument, chords=chords)


def hear_takes(
    line: TimedLine,
    takes: Sequence[tuple[str, Callable[[], Audio]]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    starts_s: Mapping[str, float] | None = None,
    divide: bool = False,
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
    divide
        Whether a recording that holds several passes is heard as that many takes, "NAME#1" and so on; if not, its
        best pass is the take.

    Raises
    ------
    InputError
        When two takes have one name, or a take is silent, does not hold the line, or names a wrong sampling rate;
        the message begins with the take's name.
    """
    names = [name for name, _ in takes]
    if len(set(names)) < len(names):
        raise InputError("Two takes have the same name; give each file once.")
    sources = tuple(to_analysis_rate(audio) for audio in (click, guide) if audio is not None)
    clicks = Clicks(click_times(line, grid, click), None if click is None else sources[0])
    guide_late_s = groove_s(guide, line, grid) if guide is not None and grid is not None else None
    starts = starts_s or {}

    def one(named: tuple[str, Callable[[], Audio]]) -> list[HeardTake]:
        name, read = named
        return _hear_and_measure(
            name,
            read(),
            line,
            divide=divide,
            start_s=starts.get(name),
            sources=sources,
            a4_hz=a4_hz,
            clicks=clicks,
            guide_late_s=guide_late_s,
        )

    with ThreadPoolExecutor(max_workers=_WORKERS) as pool:
        for i, heard in enumerate(pool.map(one, takes)):
            progress((i + 1) / len(takes), f"read {names[i]}")
            yield from heard


def judge_takes(
    line: TimedLine,
    heard: Sequence[HeardTake],
    *,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    chords: Sequence[ChordSpan] = (),
) -> tuple[ReadTake, ...]:
    """Judge takes that were heard, beside one another.

    Parameters
    ----------
    grid
        For bar numbers in the verdicts.
    instrument
        For note names in the verdicts: written pitch, as the player reads it.
    chords
        The song's, by which pure intervals are told from notes out of tune.
    """
    pure_cents = pure_places_cents(line, chords)
    settled = settle_beside([take.measures for take in heard], line)
    judged = judge(settled, line, pure_cents=pure_cents)
    wording = Wording(grid, instrument)
    return tuple(
        ReadTake(
            measures.path,
            measures,
            take.levels,
            _reading(measures, judgements, line, wording=wording, pure_cents=pure_cents),
        )
        for take, measures, judgements in zip(heard, settled, judged, strict=True)
    )


def _given(audio: Audio) -> Audio:
    return audio


def _hear_and_measure(
    name: str,
    take: Audio,
    line: TimedLine,
    *,
    divide: bool,
    start_s: float | None,
    sources: tuple[NDArray[np.float32], ...],
    a4_hz: float,
    clicks: Clicks,
    guide_late_s: Floats | None,
) -> list[HeardTake]:
    """A take as heard; several where it is to be divided and holds several passes."""
    try:
        heard = hear(take, line, a4_hz=a4_hz)
        if start_s is None:
            passes = find_passes(heard, line, a4_hz=a4_hz)
            if divide and len(passes) > 1:
                return [
                    of_pass
                    for number, one in enumerate(passes, 1)
                    for of_pass in _hear_and_measure(
                        name_of_pass(name, number),
                        cut_out(take, one),
                        line,
                        divide=False,
                        start_s=None,
                        sources=sources,
                        a4_hz=a4_hz,
                        clicks=clicks,
                        guide_late_s=guide_late_s,
                    )
                ]
            placement, played = place_heard(heard, line, sources=sources, click_times_s=clicks.times_s, a4_hz=a4_hz)
            if placement.rate_suspect:
                raise InputError(placement.sentence)
            placement = replace(placement, sentence=f"{placement.sentence} {passes_in_words(passes)}".strip())
        else:
            placement = stated_placement(start_s)
            played = play_back(heard, line, placement, a4_hz=a4_hz)
    except InputError as error:
        raise InputError(f"'{name}': {error}") from None
    measures = measure_take(
        name,
        take,
        line,
        heard=heard,
        placement=placement,
        played=played,
        a4_hz=a4_hz,
        clicks=clicks,
        guide_late_s=guide_late_s,
    )
    require_readable(measures)
    return [HeardTake(measures, Levels.of(heard))]


def click_times(line: TimedLine, grid: Grid | None, click: Audio | None) -> tuple[Floats, ...]:
    """When the player may have heard clicks, one array for each way of clicking.

    The beats of the grid, and the beats with their divisions, for the click heard need not be the one handed in; the
    attacks of that where there is no grid.
    """
    if grid is None:
        return () if click is None else (_attacks_s(click),)
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
    measures: TakeMeasures,
    judgements: Sequence[Judgement],
    line: TimedLine,
    *,
    wording: Wording,
    pure_cents: Floats,
) -> TakeReading:
    placement = measures.placement
    tuned = measures.cents[np.isfinite(measures.cents)]
    timing = timing_of(measures, line)
    parts = [score_parts(j, measures, p) for j, p in zip(judgements, line.phrases, strict=True)]
    touched = {flag for judgement in judgements for flag in judgement.flags}
    return TakeReading(
        path=measures.path,
        offset_ms=1e3 * placement.offset_s,
        drift_ppm=placement.drift_ppm,
        tuning_cents=float(np.median(tuned)) if tuned.size else 0.0,
        phrases=tuple(
            PhraseReading(
                index=phrase.index,
                score=score(parts[phrase.index]),
                verdict=verdict(judgement, measures, line, phrase, wording=wording),
                flags=judgement.flags,
                notes=tuple(
                    _note(measures, line, i, pure_cents=float(pure_cents[i]))
                    for i in range(phrase.first_note, phrase.last_note + 1)
                ),
                extra_notes=len(measures.phrases[phrase.index].extra),
                score_parts=parts[phrase.index],
                breath_dbfs=measures.phrases[phrase.index].breath_dbfs,
            )
            for phrase, judgement in zip(line.phrases, judgements, strict=True)
        ),
        timing=timing,
        sentence=placement.sentence,
        flags=flags_of_the_clock(placement) + tuple(flag for flag in OF_THE_TAKE if flag in touched),
        remarks=remarks(measures, timing, line, touched),
    )


def _note(measures: TakeMeasures, line: TimedLine, i: int, *, pure_cents: float) -> NoteReading:
    played, detail = measures.played[i], measures.details[i]
    released_s = None if detail.released_s is None else float(measures.placement.to_guide_s(detail.released_s))

    def known(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    return NoteReading(
        index=i,
        played=played.right,
        cents=known(measures.cents[i]),
        onset_ms=known(measures.late_ms[i]),
        level_db=known(measures.level_db[i]),
        cents_just=known(measures.cents[i] - pure_cents),
        steadiness_cents=detail.steadiness_cents,
        vibrato_hz=detail.vibrato_hz,
        vibrato_cents=detail.vibrato_cents,
        groove_ms=known(measures.groove_ms[i]),
        release_ms=None if released_s is None else 1e3 * (released_s - line.notes[i].end_s),
        brightness_hz=detail.brightness_hz,
    )
