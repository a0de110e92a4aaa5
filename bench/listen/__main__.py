"""Command of the bench: render what is missing, listen, print the table."""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from .catalogue import chosen
from .cost import measured
from .run import Result, recorded_songs, run_song
from .table import printed

_COLUMNS = ("bpm error", "octave", "metre", "bar 1 ms", "beats 20", "tuning", "key", "majmin", "singer", "openings F")

_STRIDE = 6
"""Songs are taken in an order that mixes the kinds, so that a run cut short still has some of each."""


def main() -> None:
    """Parse the arguments and run."""
    parser = argparse.ArgumentParser(prog="listen", description="How well guides are listened to.")
    parser.add_argument("--quick", action="store_true", help="the twelve songs that are enough for work")
    parser.add_argument("--only", nargs="+", default=[], metavar="NAME", help="songs with this in their name")
    parser.add_argument("--cache", type=Path, default=_cache(), help="where rendered songs are kept")
    parser.add_argument("--jobs", type=int, default=1, help="songs listened to at the same time")
    parser.add_argument("--alone", action="store_true", help="without librosa, the recorded songs, speed and memory")
    parser.add_argument("--minutes", type=float, help="stop after these many; the table then has fewer songs")
    options = parser.parse_args()
    specs = chosen(quick=options.quick, only=options.only)
    whole = not (options.alone or options.only or options.quick)
    print(f"{'song':24s} {'found':>9s} " + " ".join(f"{c:>10s}" for c in _COLUMNS) + "   s", flush=True)
    results: list[Result] = []
    mixed = [spec for first in range(_STRIDE) for spec in specs[first::_STRIDE]]
    with ProcessPoolExecutor(max_workers=options.jobs) as pool:
        jobs = [pool.submit(run_song, spec, options.cache, beside=not options.alone) for spec in mixed]
        try:
            for job in as_completed(jobs, timeout=60.0 * options.minutes if options.minutes else None):
                results.append(job.result())
                print(_line(results[-1]), flush=True)
        except TimeoutError:
            pool.shutdown(cancel_futures=True)
    order = {spec.name: i for i, spec in enumerate(specs)}
    results.sort(key=lambda r: order[r.spec.name])
    cost = {who: measured(options.cache, who) for who in ("ours", "librosa")} if whole else {}
    recorded = recorded_songs() if whole else []
    print(f"\n{printed(results, cost, recorded)}")


def _line(result: Result) -> str:
    if result.error:
        return f"{result.spec.name:24s} FAILED {result.error.splitlines()[-1]}"
    cells = [f"{result.ours[c]:10.3f}" if c in result.ours else f"{'-':>10s}" for c in _COLUMNS]
    return f"{result.spec.name:24s} {result.bpm:9.4f} {' '.join(cells)} {result.seconds:5.1f}"


def _cache() -> Path:
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "obbligato-bench"


if __name__ == "__main__":
    main()
