"""Takes of a free solo as read, with all that is needed to choose among them again in a moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from obbligato.music.grid import Grid
from obbligato.takes.choose import Wishes, choose
from obbligato.takes.coverage import coverage
from obbligato.takes.readings import Assessment, Seam, TakeReading, TimedLine

_FADE_MS = 30.0


@dataclass(frozen=True)
class FreeReadings:
    """Takes of a solo without a written line, read beside one another.

    Attributes
    ----------
    line
        The notes that stand in for a line.
    bounds_s
        The phrases: stretches between the rests that all takes have in common, on the guide's time.
    levels_db
        By take, how loud it is played, dBFS.
    cents
        By take and phrase, how it lies to the song's tuning.
    rooms_db
        By take and rest between two phrases, the level of its room, dBFS.
    """

    line: TimedLine
    takes: tuple[TakeReading, ...]
    bounds_s: tuple[tuple[float, float], ...]
    levels_db: tuple[float, ...]
    cents: tuple[tuple[float, ...], ...]
    rooms_db: tuple[tuple[float, ...], ...]


def choose_free(read: FreeReadings, *, grid: Grid, wishes: Wishes | None = None) -> Assessment:
    """Choose among takes of a free solo, phrase by phrase; joins lie in the middle of rests."""
    choice = choose(read.line, read.takes, wishes)
    paths = [take.path for take in read.takes]
    chosen = [paths.index(c.take) for c in choice]
    seams = tuple(_seam(read, phrase, sides) for phrase, sides in enumerate(pairwise(chosen)) if sides[0] != sides[1])
    words = coverage(read.line, read.takes, grid=grid)
    said = f"No line is written, so takes were compared with one another. {words}"
    return Assessment(read.line, read.takes, choice, seams, coverage=said)


def _seam(read: FreeReadings, phrase: int, sides: Sequence[int]) -> Seam:
    """From one take to another in the middle of the rest after a phrase."""
    left, right = sides
    (_, start_s), (end_s, _) = read.bounds_s[phrase : phrase + 2]
    return Seam(
        at_s=(start_s + end_s) / 2,
        from_take=read.takes[left].path,
        to_take=read.takes[right].path,
        fade_ms=_FADE_MS,
        level_step_db=read.levels_db[right] - read.levels_db[left],
        pitch_step_cents=read.cents[right][phrase + 1] - read.cents[left][phrase],
        noise_step_db=read.rooms_db[right][phrase] - read.rooms_db[left][phrase],
    )
