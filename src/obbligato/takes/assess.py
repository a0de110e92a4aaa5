"""Readings of several takes, a proposed choice, and the seams it needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.music.spans import ChordSpan
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.takes.choose import Wishes, choose
from obbligato.takes.coverage import coverage
from obbligato.takes.inside import choose_inside
from obbligato.takes.matching import matching_gains
from obbligato.takes.place import Placement
from obbligato.takes.read import ReadTake, read_takes
from obbligato.takes.readings import Assessment, TimedLine
from obbligato.takes.seams import joined_at, plan_seams


@dataclass(frozen=True, eq=False)
class AssessedTakes:
    """An assessment with what is needed to go on from it.

    Attributes
    ----------
    placements
        By path, what `join` needs: one offset for each take.
    coverage
        What has too few usable versions, as a sentence.
    takes
        Everything found about each take; a new choice can be made from it without listening again.
    matching_db
        By path, the gain that would match a take to its neighbours, where that would change by half a dB or more.
    """

    assessment: Assessment
    placements: Mapping[str, Placement]
    coverage: str
    takes: tuple[ReadTake, ...]
    matching_db: Mapping[str, float]


def assess(
    line: TimedLine,
    takes: Sequence[tuple[str, Audio | Callable[[], Audio]]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    chords: Sequence[ChordSpan] = (),
    progress: Progress = silent,
) -> Assessment:
    """Read takes of a line and propose a choice; see `assess_takes`."""
    assessed = assess_takes(
        line,
        takes,
        guide=guide,
        click=click,
        a4_hz=a4_hz,
        grid=grid,
        instrument=instrument,
        chords=chords,
        progress=progress,
    )
    return assessed.assessment


def assess_takes(
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
    wishes: Wishes | None = None,
    gains_db: Mapping[str, float] | None = None,
    progress: Progress = silent,
) -> AssessedTakes:
    """Read takes of a line, choose among them, and plan the seams.

    Parameters
    ----------
    line
        On the guide's time.
    takes
        Each with its path as it is to be reported, and its sound or what reads it; of the latter few are in memory
        at a time.
    guide, click
        What the player heard, looked for as bleed.
    a4_hz
        The song's tuning.
    grid
        For bar numbers, and to know when clicks were heard if there is no `click`.
    instrument
        For note names in the verdicts: written pitch, as the player reads it.
    chords
        The song's, by which pure intervals are told from notes out of tune.
    starts_s
        By path, where takes start on the guide's time, as far as the player states it.
    wishes
        What the player wants of the choice.
    gains_db
        By path, what a take is made louder by when it is joined.

    Raises
    ------
    InputError
        When there is no take or no note, or a take cannot be used; the message says which and why.
    """
    if not line.notes or not line.phrases:
        raise InputError("The line has no notes; give a MIDI file with at least one note.")
    if not takes:
        raise InputError("There is no take to assess; give one or more recordings of the line.")
    read = read_takes(
        line,
        takes,
        guide=guide,
        click=click,
        a4_hz=a4_hz,
        grid=grid,
        instrument=instrument,
        chords=chords,
        starts_s=starts_s,
        divide=True,
        progress=part_of(progress, 0.0, 0.95),
    )
    return choose_again(line, read, grid=grid, wishes=wishes, gains_db=gains_db)


def choose_again(
    line: TimedLine,
    read: Sequence[ReadTake],
    *,
    grid: Grid | None = None,
    wishes: Wishes | None = None,
    gains_db: Mapping[str, float] | None = None,
) -> AssessedTakes:
    """Choose among takes already read."""
    wishes = wishes or Wishes()
    readings = tuple(take.reading for take in read)
    choice = choose_inside(line, read, choose(line, readings, wishes), wishes)
    seams = plan_seams(line, read, choice, gains_db=gains_db)
    sentence = coverage(line, readings, grid=grid)
    most_used = Counter(c.take for c in choice).most_common(1)[0][0]
    return AssessedTakes(
        Assessment(line, readings, choice, seams, coverage=sentence),
        {take.path: joined_at(take) for take in read},
        sentence,
        tuple(read),
        matching_gains(seams, gains_db or {}, keep=wishes.base or most_used),
    )
