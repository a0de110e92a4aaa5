"""Readings of several takes, a proposed choice, and the seams it needs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.takes.choose import JOIN_COST, choose, coverage
from obbligato.takes.place import Placement
from obbligato.takes.read import ReadTake, read_takes
from obbligato.takes.readings import Assessment, TimedLine
from obbligato.takes.seams import plan_seams


@dataclass(frozen=True, eq=False)
class AssessedTakes:
    """An assessment with what is needed to go on from it.

    Attributes
    ----------
    placements
        By path, what `join` needs.
    coverage
        Which phrases have too few usable versions, as a sentence.
    takes
        Everything found about each take; a new choice can be made from it without listening again.
    """

    assessment: Assessment
    placements: Mapping[str, Placement]
    coverage: str
    takes: tuple[ReadTake, ...]


def assess(
    line: TimedLine,
    takes: Sequence[tuple[str, Audio]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    progress: Progress = silent,
) -> Assessment:
    """Read takes of a line and propose a choice; see `assess_takes`."""
    assessed = assess_takes(
        line, takes, guide=guide, click=click, a4_hz=a4_hz, grid=grid, instrument=instrument, progress=progress
    )
    return assessed.assessment


def assess_takes(
    line: TimedLine,
    takes: Sequence[tuple[str, Audio]],
    *,
    guide: Audio | None = None,
    click: Audio | None = None,
    a4_hz: float = 440.0,
    grid: Grid | None = None,
    instrument: Instrument | None = None,
    starts_s: Mapping[str, float] | None = None,
    overrides: Mapping[int, str] | None = None,
    join_cost: float = JOIN_COST,
    progress: Progress = silent,
) -> AssessedTakes:
    """Read takes of a line, choose among them, and plan the seams.

    Parameters
    ----------
    line
        On the guide's time.
    takes
        Each with its path as it is to be reported.
    guide, click
        What the player heard, looked for as bleed.
    a4_hz
        The song's tuning.
    grid
        For bar numbers, and to know when clicks were heard if there is no `click`.
    instrument
        For note names in the verdicts: written pitch, as the player reads it.
    starts_s
        By path, where takes start on the guide's time, as far as the player states it.
    overrides
        By phrase index, the path of the take to use.
    join_cost
        Points of score that a join must save; more makes fewer joins.

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
        starts_s=starts_s,
        progress=part_of(progress, 0.0, 0.95),
    )
    return choose_again(line, read, grid=grid, overrides=overrides, join_cost=join_cost)


def choose_again(
    line: TimedLine,
    read: Sequence[ReadTake],
    *,
    grid: Grid | None = None,
    overrides: Mapping[int, str] | None = None,
    join_cost: float = JOIN_COST,
) -> AssessedTakes:
    """Choose among takes already read."""
    readings = tuple(take.reading for take in read)
    choice = choose(line, readings, overrides=overrides, join_cost=join_cost)
    return AssessedTakes(
        Assessment(line, readings, choice, plan_seams(line, read, choice)),
        {take.path: take.placement for take in read},
        coverage(line, readings, grid=grid),
        tuple(read),
    )
