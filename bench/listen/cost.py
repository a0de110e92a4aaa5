"""Seconds and peak memory of listening to a four-minute stereo song, ours and librosa's, each in its own process.

Run as `python -m listen.cost WHO FILE`, it prints the three figures; the bench starts it.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

from .render import rendered
from .spec import Spec

FOUR_MINUTES = Spec("four minutes", "demo", "", 51.0, 90, singer="alto", count_in="one bar")


def measured(cache: Path, who: str) -> tuple[float, float, float]:
    """Seconds from opening the file to the last finding, those of processor, and megabytes at most (10^6 bytes)."""
    path, _ = rendered(FOUR_MINUTES, cache)
    command = [sys.executable, "-m", "listen.cost", who, str(path)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=Path(__file__).parent.parent)
    seconds, busy_s, megabytes = (float(word) for word in done.stdout.split()[-3:])
    return seconds, busy_s, megabytes


def _main(who: str, path: Path) -> None:
    if who == "ours":
        from .run import listened as heard
    else:
        from .run import librosa_heard as heard
    started = time.perf_counter()
    heard(path)
    took_s = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(took_s, used.ru_utime + used.ru_stime, _peak_mb())


def _peak_mb() -> float:
    """The kernel's own mark of this program; that of `getrusage` still holds what the parent had before it began."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1024 / 1e6


if __name__ == "__main__":
    _main(sys.argv[1], Path(sys.argv[2]))
