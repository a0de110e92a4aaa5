"""Takes of a click through a real stream: are they where they belong, to the sample, whenever it is opened anew?"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import signal

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.play.click import click_track
from obbligato.play.latency import calibrate
from obbligato.play.recorder import Recorder
from obbligato.sound.files import read_audio
from obbligato.sound.growing import GrowingWav

from .loopback import LoopDevice, loopback_server

BENCH = Path(__file__).parents[1]
RATES, BLOCKS = (44100, 48000, 96000), (64, 128, 256, 512, 1024, 2048)


def one_setting(sr: int, block: int, runs: int, seconds: float = 2.0) -> dict[str, object]:
    """Calibrate, then record a click `runs` times; the samples by which each take is off its place."""
    with loopback_server(sr=sr, block=block):
        device = LoopDevice()
        try:
            trip = calibrate(device, sr=sr, block=block, inputs=1, outputs=2)
        except InputError as error:
            return {"sr": sr, "block": block, "refused": str(error)}
        n = round(seconds * sr)
        click = click_track(Grid.steady(120.0, 0.7, Meter.from_signature("4/4")), n_samples=n, sr=sr).mono()
        sound = np.pad(np.repeat(click[:, None], 2, axis=1), ((0, sr // 4), (0, 0)))
        off, dropouts = [], 0
        for _ in range(runs):
            with tempfile.TemporaryDirectory() as scratch:
                file = Path(scratch) / "take.wav"
                recorder = Recorder(device, sound, GrowingWav(file, sr=sr, channels=1), block=block)
                recorder.start()
                dropouts += len(recorder.wait().dropouts)
                heard = read_audio(file).mono()
            both = signal.correlate(heard.astype(np.float64), click.astype(np.float64), method="fft")
            off.append(int(both.argmax()) - (len(click) - 1) - trip)
        return {"sr": sr, "block": block, "round_trip": trip, "off": off, "dropouts": dropouts}


def all_settings(runs: int, rates=RATES, blocks=BLOCKS):
    """One process a setting, because PortAudio keeps to the server that it first saw."""
    for sr in rates:
        for block in blocks:
            command = [sys.executable, "-m", "record.exact", str(sr), str(block), str(runs)]
            done = subprocess.run(command, cwd=BENCH, capture_output=True, text=True, check=False)
            lines = done.stdout.strip().splitlines()
            yield json.loads(lines[-1]) if lines else {"sr": sr, "block": block, "refused": done.stderr[-300:]}


if __name__ == "__main__":
    print(json.dumps(one_setting(*map(int, sys.argv[1:4]), *map(float, sys.argv[4:5]))))
