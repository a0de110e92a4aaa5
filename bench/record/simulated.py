"""A device made by code: it hears what it plays, late by a known number of frames, and fails as it is told to."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass

import numpy as np

from obbligato.errors import InputError
from obbligato.play.devices import DeviceFacts


@dataclass(frozen=True)
class Faults:
    """What goes wrong.

    `lost` is (block, frames lost before it), `says_so` whether the device flags these; `gone_at_block` is when it
    vanishes; `drift_ppm` how much faster the playing clock runs; `jitter_s` how late stamps come at most.
    """

    lost: tuple[tuple[int, int], ...] = ()
    says_so: bool = False
    gone_at_block: int | None = None
    drift_ppm: float = 0.0
    jitter_s: float = 0.0
    seed: int = 1


class SimulatedDevice:
    """Runs `speed` times as fast as real time, at the rates it has."""

    name = "simulated"

    def __init__(self, *, round_trip=0, rates=(44100, 48000, 96000), faults=None, speed=200.0, level=1.0):
        self.round_trip, self.rates, self.faults = round_trip, rates, faults or Faults()
        self.speed, self.level = speed, level

    def open(self, on_block, *, sr, block, inputs, outputs):
        if sr not in self.rates:
            raise InputError(f"'{self.name}' cannot do {sr} Hz; it does {self.rates}.")
        return _Stream(self, on_block, sr=sr, block=block or 256, inputs=inputs, outputs=outputs)


@dataclass(frozen=True)
class SimulatedLibrary:
    """Two of them to choose from."""

    speed: float = 1.0
    round_trip: int = 1024
    faults: Faults = Faults()

    def devices(self):
        return (
            DeviceFacts(0, "simulated", 2, 2, 48000),
            DeviceFacts(1, "simulated bluetooth", 1, 2, 48000),
        )

    def find(self, asked):
        names = [facts.name for facts in self.devices()]
        if asked is not None and asked.partition(" + ")[0] not in names:
            raise InputError(f"There is no device '{asked}' that fits; there are: {', '.join(names)}.")
        device = SimulatedDevice(round_trip=self.round_trip, speed=self.speed, faults=self.faults, level=0.5)
        device.name = asked or names[0]
        return device


class _Stream:
    def __init__(self, device, on_block, *, sr, block, inputs, outputs):
        self._device, self._on_block = device, on_block
        self._sr, self._block, self._inputs, self._outputs = sr, block, inputs, outputs
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self.round_trip_s = device.round_trip / sr

    def start(self):
        self._thread.start()

    def close(self):
        self._closed.set()
        if self._thread.is_alive():
            self._thread.join()

    @property
    def running(self):
        return self._thread.is_alive()

    def _run(self):
        faults, n = self._device.faults, self._block
        rng = np.random.default_rng(faults.seed)
        lost = dict(faults.lost)
        air = np.zeros(self._device.round_trip, dtype=np.float32)  # on its way from output to input
        time_frames, k = 0, 0
        began_s = time.monotonic()
        while not self._closed.is_set() and k != faults.gone_at_block:
            gap = lost.get(k, 0)
            time_frames += gap
            true_s = time_frames / self._sr
            adc_s = true_s + rng.uniform(0.0, faults.jitter_s)
            dac_s = adc_s + self._device.round_trip / self._sr - 1e-6 * faults.drift_ppm * true_s
            played = np.zeros((n, self._outputs), dtype=np.float32)
            air = np.concatenate((air[gap:], np.zeros(min(gap, len(air)), dtype=np.float32)))
            if len(air) >= n:
                heard = air[:n]
                self._call(heard, played, adc_s, dac_s, bool(gap) and faults.says_so)
                air = np.concatenate((air[n:], self._device.level * played[:, 0]))
            else:
                raise AssertionError("the round trip of the simulated device must be at least a block")
            time_frames += n
            k += 1
            time.sleep(max(0.0, began_s + time_frames / self._sr / self._device.speed - time.monotonic()))

    def _call(self, heard, played, adc_s, dac_s, lost):
        self._on_block(np.repeat(heard[:, None], self._inputs, axis=1), played, adc_s, dac_s, lost)
