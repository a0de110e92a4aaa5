"""Command of the bench: every case in a process of its own, and the table."""

from __future__ import annotations

import argparse
import json
import subprocess
import sys

import numpy as np

from .exact import all_settings
from .kills import kill_many
from .loopback import WHY_NOT, is_possible


def main() -> None:
    """Parse the arguments and run."""
    parser = argparse.ArgumentParser(prog="record", description="How safely and how exactly takes are recorded.")
    parser.add_argument("--runs", type=int, default=20, help="takes at each rate and block")
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--long", action="store_true", help="ten minutes for the long take, in place of one")
    asked = parser.parse_args()
    _print_kills(asked.kills)
    cases = [["planted"]] if sys.platform == "win32" else [["planted"], ["full-disk"]]
    if is_possible():
        cases += [["vanished"], ["long", "600" if asked.long else "60"]]
    for case in cases:
        done = subprocess.run(
            [sys.executable, "-m", "record.failures", *case], capture_output=True, text=True, check=False
        )
        lines = done.stdout.strip().splitlines()
        _row(case[0], json.loads(lines[-1]) if lines else {"failed": done.stderr[-300:]})
    if not is_possible():
        print(f"Takes through a real stream: left out, {WHY_NOT}.")
        return
    for setting in all_settings(asked.runs):
        name = f"{setting['sr']} Hz, block {setting['block']}"
        if "refused" in setting:
            _row(name, {"refused": setting["refused"]})
            continue
        off = np.abs(setting["off"])
        within = f"{int((off <= 1).sum())} of {len(off)}"
        _row(name, {"within 1 sample": within, "most off": int(off.max()), "round trip": setting["round_trip"]})


def _print_kills(count: int) -> None:
    left = list(kill_many(count))
    lost_s = [one.lost_s for one in left]
    facts = {"right": sum(one.is_right for one in left), "longest lost_s": max(lost_s), "median": np.median(lost_s)}
    _row(f"{count} kills", facts)


def _row(name: str, facts: dict[str, object]) -> None:
    said = ", ".join(
        f"{key} {value:.3g}" if isinstance(value, float) else f"{key} {value}" for key, value in facts.items()
    )
    print(f"{name:24} {said}", flush=True)


if __name__ == "__main__":
    main()
