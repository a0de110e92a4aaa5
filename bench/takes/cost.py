"""Seconds and peak memory of reading four-minute takes and choosing among them, in a process of its own.

Run as `python -m takes.cost HOW_MANY`, it prints seconds, seconds of processor, and megabytes.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav
from obbligato.takes.assess import assess_takes

from .melodies import TUNES, Written, write_line
from .performing import Player, Take, perform
from .sources import SOURCES

MINUTES = 4.0
_DIFFERENT = 4


def measured(cache: Path, how_many: int) -> tuple[float, float, float]:
    """Seconds, those of processor, and megabytes at most (10^6 bytes) for so many takes of four minutes."""
    prepare(cache)
    command = [sys.executable, "-m", "takes.cost", str(how_many), str(cache)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, cwd=Path(__file__).parent.parent)
    seconds, busy_s, megabytes = (float(word) for word in done.stdout.split()[-3:])
    return seconds, busy_s, megabytes


def prepare(cache: Path) -> Written:
    """The line, and four different takes of it on the disk."""
    rng = np.random.default_rng(11)
    source = SOURCES[0]
    written = write_line(TUNES[5], rng, lowest=source.lowest, highest=source.highest, seconds=60 * MINUTES - 8)
    cache.mkdir(parents=True, exist_ok=True)
    for k in range(_DIFFERENT):
        path = cache / f"four-minutes-{k}.wav"
        if not path.exists():
            take = Take(player=Player(), offset_s=0.0)
            made = perform(written.line, source, take, np.random.default_rng(k), guide=None, click=None)
            write_wav(path, made.audio)
    return written


def _main(how_many: int, cache: Path) -> None:
    written = prepare(cache)
    takes = [
        (f"take{k + 1}", (lambda path=cache / f"four-minutes-{k % _DIFFERENT}.wav": read_audio(path)))
        for k in range(how_many)
    ]
    guide = Audio(np.zeros((1, 48000), np.float32) + 1e-4, 48000)
    started, busy = time.perf_counter(), time.process_time()
    assess_takes(written.line, takes, guide=guide, grid=written.grid)
    print(time.perf_counter() - started, time.process_time() - busy, _peak_mb())


def _peak_mb() -> float:
    """The kernel's own mark of this program."""
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) * 1024 / 1e6


if __name__ == "__main__":
    _main(int(sys.argv[1]), Path(sys.argv[2]))
