"""Invented lines, and invented players who play them with known faults; for tests and benchmarks of takes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from obbligato.sound.audio import Audio
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote
from obbligato.units import midi_to_hz


@dataclass(frozen=True)
class Timbre:
    """Partials' amplitudes, attack and release times, decay, and noise of the breath or bow."""

    partials: tuple[float, ...]
    attack_s: float
    release_s: float
    decay_s: float = np.inf
    breath: float = 0.0
    vibrato_cents: float = 0.0
    scoop_cents: float = 0.0


TIMBRES = {
    "brass": Timbre(tuple(1 / k for k in range(1, 11)), 0.03, 0.05, breath=0.01, scoop_cents=40.0),
    "reed": Timbre((1, 0.1, 0.7, 0.08, 0.4, 0.05, 0.25), 0.02, 0.04, breath=0.01),
    "bowed": Timbre(tuple(1 / k**1.2 for k in range(1, 13)), 0.05, 0.08, breath=0.006, vibrato_cents=25.0),
    "flute": Timbre((1, 0.35, 0.1, 0.03), 0.03, 0.05, breath=0.03, vibrato_cents=12.0),
    "plucked": Timbre(tuple(0.8**k for k in range(8)), 0.002, 0.03, decay_s=0.6),
}


@dataclass(frozen=True)
class Playing:
    """How a take is played and recorded; every fault is keyed by phrase.

    `late_ms`, `flat_cents`, `level_db`: what is added over the whole phrase. `wrong`, `missed`, `extra`: the note of
    the phrase, counted from 0. `clipped`, `noise`, `clicks`: phrases where it happens.
    """

    timbre: str = "brass"
    sr: int = 48000
    offset_s: float = 0.0
    drift_ppm: float = 0.0
    lateness_ms: float = 0.0
    scatter_ms: float = 12.0
    scatter_cents: float = 5.0
    scatter_db: float = 1.0
    tuning_cents: float = 0.0
    noise_dbfs: float = -66.0
    late_ms: dict[int, float] = field(default_factory=dict)
    flat_cents: dict[int, float] = field(default_factory=dict)
    level_db: dict[int, float] = field(default_factory=dict)
    wrong: dict[int, int] = field(default_factory=dict)
    missed: dict[int, int] = field(default_factory=dict)
    extra: dict[int, int] = field(default_factory=dict)
    clipped: tuple[int, ...] = ()
    noise: tuple[int, ...] = ()
    clicks: tuple[int, ...] = ()
    dropout: tuple[int, ...] = ()
    click_phase_s: float = 2.0
    click_every_s: float = 0.6
    click_gain: float = 0.02


def invent_line(
    rng: np.random.Generator, *, phrases: int = 8, lowest: int = 55, highest: int = 76, beat_s: float = 0.6
) -> TimedLine:
    """Phrases of four to eight notes that walk and leap, with rests between."""
    notes: list[TimedNote] = []
    spans: list[PhraseSpan] = []
    time_s, pitch = 2.0 + 4 * beat_s, (lowest + highest) // 2
    for index in range(phrases):
        first = len(notes)
        for _ in range(int(rng.integers(4, 9))):
            length_s = float(rng.choice([0.5, 0.5, 1.0, 1.0, 1.5, 2.0])) * beat_s
            notes.append(TimedNote(len(notes), time_s, time_s + 0.92 * length_s, pitch))
            time_s += length_s
            pitch += int(rng.choice([-5, -3, -2, -2, -1, 0, 1, 2, 2, 3, 4]))
            pitch = int(np.clip(pitch, lowest, highest))
        spans.append(PhraseSpan(index, first, len(notes) - 1))
        time_s += float(rng.choice([2.0, 3.0, 4.0])) * beat_s
    return TimedLine(tuple(notes), tuple(spans))


def play(line: TimedLine, how: Playing, rng: np.random.Generator, *, a4_hz: float = 440.0) -> Audio:
    """A take of the line; its first sample lies at `how.offset_s` on the guide's time."""
    length_s = line.notes[-1].end_s + 3.0 - how.offset_s
    y = np.zeros(int(length_s * how.sr))
    ceilings: list[tuple[slice, float]] = []
    wander = rng.normal(size=len(line.phrases)) * 0.4 * how.scatter_ms
    for phrase in line.phrases:
        spoilt = phrase.index in how.clipped
        for place, i in enumerate(range(phrase.first_note, phrase.last_note + 1)):
            note, after = line.notes[i], line.notes[i + 1] if i < phrase.last_note else None
            late_ms = how.lateness_ms + how.late_ms.get(phrase.index, 0.0) + wander[phrase.index]
            start_s = note.start_s + (late_ms + rng.normal() * how.scatter_ms) / 1e3
            end_s = note.end_s + late_ms / 1e3 if after is None else min(note.end_s + late_ms / 1e3, after.start_s)
            cents = how.tuning_cents - how.flat_cents.get(phrase.index, 0.0) + rng.normal() * how.scatter_cents
            gain_db = how.level_db.get(phrase.index, 0.0) + rng.normal() * how.scatter_db
            pitch = note.midi + (2 if how.wrong.get(phrase.index) == place else 0) + cents / 100
            if how.missed.get(phrase.index) == place:
                continue
            pieces = [(start_s, end_s, pitch)]
            if how.extra.get(phrase.index) == place:
                middle_s = end_s - max(0.16, 0.4 * (end_s - start_s))
                pieces = [(start_s, middle_s, pitch), (middle_s, end_s, pitch + 4)]
            for from_s, to_s, at_pitch in pieces:
                sound = _note(at_pitch, to_s - from_s, how, rng, a4_hz) * 10 ** (gain_db / 20)
                _add(y, sound, (from_s - how.offset_s) * (1 + how.drift_ppm * 1e-6), how.sr)
        first_s, last_s = line.notes[phrase.first_note].start_s, line.notes[phrase.last_note].end_s
        begin_s, stop_s = first_s - 0.2 - how.offset_s, last_s + 0.2 - how.offset_s
        here = slice(max(0, int(begin_s * how.sr)), int(stop_s * how.sr))
        if spoilt:
            ceilings.append((here, 0.6 * float(np.abs(y[here]).max())))
        if phrase.index in how.clicks:
            for beat_s in np.arange(how.click_phase_s, line.notes[-1].end_s, how.click_every_s):
                if begin_s < beat_s - how.offset_s < stop_s:
                    _add(y, how.click_gain * click(how.sr), beat_s - how.offset_s, how.sr)
        if phrase.index in how.noise:
            burst = rng.normal(size=int(0.25 * how.sr)) * np.hanning(int(0.25 * how.sr)) * 0.08
            _add(y, burst, (first_s + last_s) / 2 - how.offset_s, how.sr)
        if phrase.index in how.dropout:
            note = line.notes[phrase.first_note]
            at = int(((note.start_s + note.end_s) / 2 - how.offset_s) * how.sr)
            y[at : at + int(0.02 * how.sr)] = 0.0
    y += rng.normal(size=len(y)) * 10 ** (how.noise_dbfs / 20)
    for here, ceiling in ceilings:
        y[here] = np.clip(y[here], -ceiling, ceiling)
    return Audio(np.clip(y, -0.999, 0.999).astype(np.float32), how.sr)


def click(sr: int) -> NDArray[np.float64]:
    """One tick, 30 ms."""
    t = np.arange(int(0.03 * sr)) / sr
    return np.asarray(np.sin(2 * np.pi * 1650 * t) * np.exp(-t / 0.006))


def _note(pitch: float, length_s: float, how: Playing, rng: np.random.Generator, a4_hz: float) -> NDArray[np.float64]:
    timbre, sr = TIMBRES[how.timbre], how.sr
    t = np.arange(max(1, int((max(length_s, 0.05) + timbre.release_s) * sr))) / sr
    rate_hz = 5.0 + rng.uniform(0, 1.2)
    bend = timbre.vibrato_cents * np.sin(2 * np.pi * rate_hz * t + rng.uniform(0, 6.28)) * np.clip(t / 0.3, 0, 1)
    bend = bend - timbre.scoop_cents * np.exp(-t / 0.03)
    f0_hz = midi_to_hz(pitch + bend / 100, a4_hz=a4_hz)
    phase = 2 * np.pi * np.cumsum(f0_hz) / sr
    top = 0.45 * sr / float(f0_hz.max())
    tone = sum(a * np.sin(k * phase + k) for k, a in enumerate(timbre.partials, 1) if k < top)
    rise, fall = np.clip(t / timbre.attack_s, 0, 1), np.clip((t[-1] - t) / timbre.release_s, 0, 1)
    envelope = rise * fall * np.exp(-t / timbre.decay_s)
    breath = timbre.breath * rng.normal(size=len(t))
    return np.asarray(0.12 * envelope * (tone + breath))


def _add(y: NDArray[np.float64], sound: NDArray[np.float64], at_s: float, sr: int) -> None:
    """Mix a sound in, with its start between samples rounded to the nearest."""
    start = round(at_s * sr)
    first, last = max(0, start), min(len(y), start + len(sound))
    if last > first:
        y[first:last] += sound[first - start : last - start]
