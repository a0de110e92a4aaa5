"""Programs killed at random moments while they record: what of the take is left, and is it right?"""

from __future__ import annotations

import os
import signal
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from obbligato.job.model import Brief, GuideRef, Job
from obbligato.job.recording import RunningTake
from obbligato.job.recovering import recover_takes
from obbligato.job.store import JOB_FILE, JobFolder, now
from obbligato.play.take_sound import TakeSound

from .simulated import SimulatedDevice

SR, BLOCK, ROUND_TRIP = 48000, 256, 512


@dataclass(frozen=True)
class Left:
    """What a kill left: seconds captured and not recovered, and whether all that is there is what was played."""

    lost_s: float
    is_right: bool


def empty_job(root: Path) -> JobFolder:
    root.mkdir()
    guide = GuideRef(received="guide/received/a.wav", pcm="guide/guide.wav", sha256="0" * 64)
    job = Job(created_at=now(), brief=Brief(title="Night Ferry"), instrument="Flugelhorn in Bb", guide=guide)
    (root / JOB_FILE).write_text(job.model_dump_json())
    return JobFolder(root, job)


def kill_many(count: int, *, longest_s: float = 2.5, seed: int = 7):
    """One `Left` a kill."""
    rng = np.random.default_rng(seed)
    sound = (0.1 * rng.standard_normal((10 * SR, 1))).astype(np.float32)
    for _ in range(count):
        with tempfile.TemporaryDirectory() as scratch:
            yield _kill_one(empty_job(Path(scratch) / "job"), sound, after_s=float(rng.uniform(0.1, longest_s)))


def _kill_one(folder: JobFolder, sound, *, after_s: float) -> Left:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        device = SimulatedDevice(round_trip=ROUND_TRIP, speed=1.0)
        take = RunningTake(folder, device, TakeSound(sound, SR, 0.0), block=BLOCK, round_trip=ROUND_TRIP)
        os.write(writing, f"{time.monotonic()}\n".encode())
        take.start()
        time.sleep(60.0)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        began_s = float(pipe.readline())
        time.sleep(after_s)
        captured_s = time.monotonic() - began_s
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    recovered = recover_takes(folder)
    if not recovered:
        return Left(captured_s, True)
    y, _ = soundfile.read(folder.path(recovered[0].take.file), dtype="float32")
    n = len(y) - ROUND_TRIP
    is_right = bool(np.allclose(y[ROUND_TRIP:], sound[:n, 0], atol=2.0**-23)) if n > 0 else not y.any()
    return Left(captured_s - len(y) / SR, is_right)
