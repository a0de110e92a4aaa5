"""Command of the bench: perform, read, choose, join, print the table."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

from .catalogue import SETS
from .comps import Looks, joined, look, picture
from .cost import measured
from .measures import Tally, tally, tally_plain, tally_take
from .plain import read_plainly
from .real import RealTally, recorded_takes
from .run import Result, render, run_set
from .table import printed

_QUICK = (0, 5, 9, 12, 18, 23, 27, 30)
_PLAINLY = tuple(range(0, SETS, 4))
"""Sets of which one take is also read by the plain pipeline, which takes its time."""


@dataclass(frozen=True, eq=False)
class Done:
    """One set, counted: what the processes hand back."""

    number: int
    name: str
    counted: Tally
    looks: Looks
    plain: tuple[Tally, Tally] | None


def main() -> None:
    """Parse the arguments and run."""
    parser = argparse.ArgumentParser(prog="takes", description="How well takes are placed, read, chosen and joined.")
    parser.add_argument("--quick", action="store_true", help="the eight sets that are enough for work")
    parser.add_argument("--only", nargs="+", type=int, default=[], metavar="N", help="sets by their number")
    parser.add_argument(
        "--alone", action="store_true", help="without the plain pipeline, recordings, time and memory"
    )
    parser.add_argument("--seed", type=int, default=0, help="another number: the same plan, performed anew")
    parser.add_argument("--jobs", type=int, default=1, help="sets read at the same time")
    parser.add_argument("--pictures", type=Path, help="folder for spectrograms around the seams of three comps")
    parser.add_argument("--render", type=Path, help="only write the takes and the truth into this folder")
    options = parser.parse_args()
    numbers = options.only or (_QUICK if options.quick else range(SETS))
    if options.render:
        for number in numbers:
            render(number, options.render / f"{number:02d}")
        return
    whole = not (options.alone or options.quick or options.only)
    done = sorted(_all(list(numbers), options, plainly=whole), key=lambda d: d.number)
    cost = {n: measured(_cache(), n) for n in (6, 40)} if whole else {}
    real = recorded_takes() if whole else RealTally()
    print(printed(done, cost, real))


def _all(numbers: list[int], options: argparse.Namespace, *, plainly: bool) -> Iterator[Done]:
    with ProcessPoolExecutor(max_workers=options.jobs) as pool:
        work = [
            pool.submit(
                _one, n, options.seed, plainly and n in _PLAINLY, options.pictures if n in numbers[:3] else None
            )
            for n in numbers
        ]
        for finished in as_completed(work):
            done = finished.result()
            print(f"{done.name:52s} {len(done.counted.misses):3d} misses", flush=True)
            yield done


def _one(number: int, seed: int, plainly: bool, pictures: Path | None) -> Done:
    result = run_set(number, seed)
    counted = Tally()
    tally(result, counted)
    comp, gains = joined(result)
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
        picture(result, comp, pictures / f"seams-{number:02d}.png")
    plain = _plain(result) if plainly else None
    return Done(number, result.the_set.name, counted, look(result, comp, gains), plain)


def _plain(result: Result) -> tuple[Tally, Tally]:
    """The first take of a set as we and as the plain pipeline read it."""
    line = result.the_set.written.line
    name, made = next(iter(result.played.items()))
    minutes = made.audio.duration_s / 60
    mine = Tally(minutes=minutes, busy_s=result.busy_s * minutes / result.minutes)
    reading = next(take for take in result.assessed.assessment.takes if take.path == name)
    tally_take(line, made, reading, result.assessed.placements[name], mine, where=name)
    read = read_plainly(made.audio, line)
    theirs = Tally(minutes=minutes, busy_s=read.busy_s)
    tally_plain(line, made, read, theirs)
    return mine, theirs


def _cache() -> Path:
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "obbligato-bench" / "takes"


if __name__ == "__main__":
    main()
