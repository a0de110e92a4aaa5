"""A second band beside the bank: drums, bass and chords computed tone by tone, exactly in tune."""

from __future__ import annotations

import numpy as np
from scipy import signal

from obbligato.demo.tones import room
from obbligato.units import midi_to_hz

from .bank import SR, Note

PATCHES = ("saw", "fm", "pluck")


def play(notes: list[Note], patch: str, *, a4_hz: float, seconds: float, seed: int) -> np.ndarray:
    """Stereo, shape (2, n), 48 kHz."""
    n = round(seconds * SR)
    buses = {part: np.zeros(n) for part in ("drums", "bass", "comp", "lead")}
    made: dict[tuple, np.ndarray] = {}
    for note in notes:
        length = round(max(0.06, note.end_s - note.start_s), 2)
        which = (note.part, note.key, 0.0 if note.part == "drums" else length)
        if which not in made:
            made[which] = _tone(note.part, note.key, length, patch=patch, a4_hz=a4_hz, seed=seed)
        y, at = made[which], max(0, round(note.start_s * SR))
        y = y[: max(0, n - at)]
        buses[note.part][at : at + y.size] += (note.velocity / 100.0) ** 1.5 * y
    comp = buses["comp"]
    delayed = np.concatenate([np.zeros(330), comp])[:n]
    left = buses["drums"] + buses["bass"] + 0.5 * comp + 0.35 * delayed + 0.5 * buses["lead"]
    right = buses["drums"] + buses["bass"] + 0.35 * comp + 0.5 * delayed + 0.5 * buses["lead"]
    sent = np.stack(2 * [0.5 * buses["drums"] + comp])
    wet = room(sent, sr=SR, rng=np.random.default_rng(seed)) * 0.12
    return np.stack([left, right]) + wet


def _tone(part: str, key: int, length_s: float, *, patch: str, a4_hz: float, seed: int) -> np.ndarray:
    if part == "drums":
        return _drum(key, np.random.default_rng([seed, key]))
    t = np.arange(round((length_s + 0.12) * SR)) / SR
    f0 = float(midi_to_hz(float(key), a4_hz=a4_hz))
    gate = np.clip(t / 0.004, 0, 1) * np.clip((length_s + 0.1 - t) / 0.1, 0, 1)
    if part == "bass":
        y = sum(np.sin(2 * np.pi * k * f0 * t) / k**1.6 for k in range(1, 9))
        return 0.5 * y * gate * (0.6 + 0.4 * np.exp(-t / 0.25))
    if part == "lead" or patch == "saw":
        partials = range(1, max(2, min(24, int(9000 / f0))))
        y = sum(np.sin(2 * np.pi * k * f0 * t + k) / k**1.1 for k in partials)
        return 0.16 * y * gate * np.clip(t / 0.015, 0, 1)
    if patch == "fm":
        index = 1.8 * np.exp(-t / 0.4)
        return 0.3 * np.sin(2 * np.pi * f0 * t + index * np.sin(2 * np.pi * f0 * t)) * gate * np.exp(-t / 1.5)
    y = sum(np.sin(2 * np.pi * k * f0 * t) * np.exp(-t * (1.2 + 0.7 * k)) / k for k in range(1, 13) if k * f0 < 12000)
    return 0.4 * y * gate


def _drum(key: int, rng: np.random.Generator) -> np.ndarray:
    t = np.arange(round(0.5 * SR)) / SR
    noise = rng.standard_normal(t.size)
    high = signal.sosfilt(signal.butter(4, 6500.0, "highpass", fs=SR, output="sos"), noise)
    if key == 36:
        return 1.1 * np.sin(2 * np.pi * (48.0 * t + 5.0 * (1 - np.exp(-t / 0.03)))) * np.exp(-t / 0.14)
    if key in (38, 40, 37):
        body = 0.4 * np.sin(2 * np.pi * 190.0 * t) * np.exp(-t / 0.06)
        return (0.55 * noise * np.exp(-t / (0.02 if key == 37 else 0.07)) + body) * 0.8
    if key == 39:
        return 0.6 * noise * np.exp(-np.mod(t, 0.012) / 0.006) * np.exp(-t / 0.05)
    if key in (43, 45, 48, 62, 64):
        hz = {43: 80.0, 45: 105.0, 48: 140.0, 62: 240.0, 64: 170.0}[key]
        return 0.7 * np.sin(2 * np.pi * (hz * t + 1.0 * (1 - np.exp(-t / 0.03)))) * np.exp(-t / 0.1)
    if key in (75, 56):
        return 0.5 * np.sin(2 * np.pi * (2500.0 if key == 75 else 560.0) * t) * np.exp(-t / 0.03)
    decay = {46: 0.2, 49: 0.4, 51: 0.25}.get(key, 0.035)
    return 0.35 * high * np.exp(-t / decay)
