"""What ends a take against the player's will: a full disk, a device that is gone; and a long take on a stream."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

from obbligato.play.recorder import Recorder
from obbligato.sound.growing import GrowingWav, complete

from .loopback import LoopDevice, loopback_server
from .simulated import Faults, SimulatedDevice

SR, BLOCK, ROUND_TRIP = 48000, 512, 1024
DISK_BYTES = 1_000_000


def full_disk() -> dict[str, object]:
    """Record onto a file system of a megabyte (needs the right to mount)."""
    with tempfile.TemporaryDirectory() as scratch:
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", scratch], check=True)
        try:
            path = Path(scratch) / "take.wav"
            wav = GrowingWav(path, sr=SR, channels=1)
            device = SimulatedDevice(round_trip=ROUND_TRIP, speed=4.0)
            state = _record(Recorder(device, _noise(20.0), wav, block=BLOCK))
            return _left(path, state) | {"room_s": DISK_BYTES / 3 / SR}
        finally:
            subprocess.run(["umount", scratch], check=True)


def vanished() -> None:
    """Stop the sound server in the middle of a take; ends this process, in which PortAudio is of no use any more."""
    with loopback_server(sr=SR, block=BLOCK) as server, tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "take.wav"
        recorder = Recorder(LoopDevice(), _noise(20.0), GrowingWav(path, sr=SR, channels=1), block=BLOCK)
        recorder.start()
        began_s = time.monotonic()
        time.sleep(3.0)
        server.terminate()
        captured_s = time.monotonic() - began_s
        print(json.dumps(_left(path, recorder.wait(30.0)) | {"captured_s": captured_s}), flush=True)
        server.wait()
        os._exit(0)


def long_take(seconds: float) -> dict[str, object]:
    """One take on a real stream; drop-outs that are reported, and samples that are not what was played."""
    with loopback_server(sr=SR, block=BLOCK), tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "take.wav"
        sound = _noise(seconds)
        sound[: SR // 2] = 0.0
        recorder = Recorder(LoopDevice(), sound, GrowingWav(path, sr=SR, channels=1), block=BLOCK)
        state = _record(recorder)
        y, _ = soundfile.read(path, dtype="float32")
        trip = int(np.argmax(np.abs(y) > 0) - np.argmax(np.abs(sound[:, 0]) > 0))
        wrong = int((np.abs(y[trip:] - sound[: len(y) - trip, 0]) > 2.0**-22).sum())
        return _left(path, state) | {"wrong_samples": wrong, "drift_ppm": recorder.drift_ppm}


def planted(count: int = 50, *, jitter_s: float = 0.002) -> dict[str, object]:
    """Drop-outs of one to eight blocks on the simulated device: reported within a block of their place?"""
    rng = np.random.default_rng(5)
    blocks = 300 + 200 * np.arange(count) + rng.integers(0, 50, count)
    lost = tuple((int(k), int(n) * BLOCK) for k, n in zip(blocks, rng.integers(1, 9, count), strict=True))
    device = SimulatedDevice(round_trip=8 * BLOCK, faults=Faults(lost=lost, jitter_s=jitter_s))
    with tempfile.TemporaryDirectory() as scratch:
        wav = GrowingWav(Path(scratch) / "take.wav", sr=SR, channels=1)
        sound = np.zeros(((int(blocks[-1]) + 300) * BLOCK, 1), dtype=np.float32)
        state = _record(Recorder(device, sound, wav, block=BLOCK))
    found = [dropout.frame for dropout in state.dropouts]
    right = sum(any(abs(frame - k * BLOCK) <= BLOCK for frame in found) for k, _ in lost)
    return {"planted": count, "found_at_their_block": right, "reported": len(found)}


def _noise(seconds: float):
    rng = np.random.default_rng(11)
    return (0.1 * rng.standard_normal((round(seconds * SR), 1))).astype(np.float32)


def _record(recorder: Recorder):
    recorder.start()
    return recorder.wait()


def _left(path: Path, state) -> dict[str, object]:
    frames = complete(path)
    y, _ = soundfile.read(path)
    return {
        "ended": state.ended,
        "kept_s": frames / SR,
        "readable": len(y) == frames,
        "dropouts": len(state.dropouts),
        "of them in the clock": sum(dropout.lost_s is not None for dropout in state.dropouts),
    }


CASES = {"full-disk": full_disk, "planted": planted}

if __name__ == "__main__":
    if sys.argv[1] == "vanished":
        vanished()
    case = CASES.get(sys.argv[1])
    print(json.dumps(case() if case else long_take(float(sys.argv[2]))))
