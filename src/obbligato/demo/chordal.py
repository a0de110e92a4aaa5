"""Bass and electric keys: who plays which notes when, and how they sound."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise, product

import numpy as np
from scipy import signal

from obbligato.demo.song import Groove, PlacedChord, Song
from obbligato.demo.tones import Signal, add_at, band_noise, faded, struck_tone
from obbligato.units import midi_to_hz

_BASS_LOW, _BASS_HIGH = 28, 43
_KEYS_LOW, _KEYS_HIGH = 53, 70

_BASS_PATTERNS: dict[Groove, tuple[tuple[float, float, str], ...]] = {
    "light": ((0, 5.5, "root"), (6, 5.0, "root")),
    "verse": ((0, 5.0, "root"), (6, 4.6, "root"), (11, 0.9, "next")),
    "chorus": ((0, 4.6, "root"), (5, 0.9, "fifth"), (6, 3.6, "root"), (10, 0.9, "fifth"), (11, 0.9, "next")),
    "stop": ((0, 1.5, "root"),),
    "last": ((0, 5.0, "root"), (6, 5.0, "root")),
}
_KEYS_PATTERNS: dict[Groove, tuple[tuple[float, float, str], ...]] = {
    "light": ((0, 5.8, "all"), (6, 5.8, "all")),
    "verse": tuple((i, 3.2, ("low", "middle", "high")[i % 3]) for i in range(12)),
    "chorus": (
        (0, 2.9, "all"),
        (3, 2.4, "all"),
        (5, 0.9, "upper"),
        (6, 2.9, "all"),
        (9, 2.4, "all"),
        (11, 0.9, "upper"),
    ),
    "stop": ((0, 5.6, "all"), (6, 5.6, "upper")),
    "last": tuple((i, 3.6, ("low", "middle", "high")[i % 3]) for i in range(12)),
}
"""Onset and length in eighths within the bar, and which notes."""


@dataclass(frozen=True)
class BandNote:
    """One note of bass or keys, sounding MIDI pitch."""

    onset_beat: float
    duration_beats: float
    pitch: int
    strength: float


def voicings(
    chords: tuple[PlacedChord, ...], *, low: int = _KEYS_LOW, high: int = _KEYS_HIGH
) -> tuple[tuple[int, ...], ...]:
    """Close voicings between `low` and `high`, each the one that moves least from the one before."""
    chosen: list[tuple[int, ...]] = []
    for chord in chords:
        octaves = [[p for p in range(low, high + 1) if p % 12 == pc] for pc in sorted(chord.chord.pitch_classes)]
        candidates = {tuple(sorted(c)) for c in product(*octaves) if max(c) - min(c) <= 14}
        before = chosen[-1] if chosen else (56, 60, 63)
        chosen.append(min(sorted(candidates), key=lambda c: _movement(before, c)))
    return tuple(chosen)


def _movement(before: tuple[int, ...], after: tuple[int, ...]) -> float:
    crowding = sum(1.0 for a, b in pairwise(after) if b - a == 1)
    return sum(min(abs(a - b) for b in before) for a in after) + 0.4 * abs(sum(after) / len(after) - 61.0) + crowding


def bass_notes(song: Song) -> tuple[BandNote, ...]:
    """The bass line: roots (or the chord's stated bass), fifths, and steps into the next bar."""
    notes: list[BandNote] = [BandNote(-1 / 3, 0.3, _bass_pitch(song.chords[0].chord.bass) - 2, 0.7)]
    for bar, groove, final in _bars(song):
        pattern = ((0.0, 11.5, "root"),) if final else _BASS_PATTERNS[groove]
        for eighth, length, kind in pattern:
            beat = bar * song.meter.beats_per_bar + eighth / 3.0
            chord = song.chord_at(beat).chord
            root = _bass_pitch(chord.bass)
            pitch = root
            if kind == "fifth":
                pitch = _bass_pitch((chord.root + 7) % 12)
            elif kind == "next":
                target = _bass_pitch(song.chord_at(beat + 0.5).chord.bass)
                pitch = target + (2 if root > target else -1) if target != root else root + 7 - 12 * (root > 36)
            notes.append(BandNote(beat, length / 3.0, pitch, 0.95 if eighth == 0 else 0.75))
    return tuple(notes)


def keys_notes(song: Song) -> tuple[BandNote, ...]:
    """The keys: held chords, broken eighths or pulsing chords by groove, voices led smoothly."""
    led = dict(zip(song.chords, voicings(song.chords), strict=True))
    first = led[song.chords[0]]
    notes = [BandNote(-2 / 3, 0.6, first[0], 0.5), BandNote(-1 / 3, 0.3, first[1], 0.6)]
    for bar, groove, final in _bars(song):
        pattern = ((0.0, 15.0, "all"),) if final else _KEYS_PATTERNS[groove]
        for eighth, length, kind in pattern:
            beat = bar * song.meter.beats_per_bar + eighth / 3.0
            voices = led[song.chord_at(beat)]
            picked = {
                "all": voices,
                "upper": voices[1:],
                "low": voices[:1],
                "middle": voices[1:2],
                "high": voices[2:],
            }[kind]
            strength = (0.8 if eighth % 6 == 0 else 0.62) * (1.15 if groove == "chorus" else 1.0)
            notes += [BandNote(beat, length / 3.0, p, strength) for p in picked]
    return tuple(notes)


def _bars(song: Song) -> list[tuple[int, Groove, bool]]:
    """Index of every bar from 0, its groove, and whether it is the last."""
    found: list[tuple[int, Groove, bool]] = []
    for section in song.sections:
        found += [(section.first_bar - 1 + k, section.groove, False) for k in range(section.bars)]
    last_bar, groove, _ = found[-1]
    return [*found[:-1], (last_bar, groove, True)]


def _bass_pitch(pitch_class: int) -> int:
    return next(p for p in range(_BASS_LOW, _BASS_HIGH + 1) if p % 12 == pitch_class)


def play_bass(song: Song, *, n_samples: int, sr: int, rng: np.random.Generator) -> Signal:
    """An upright-like bass, mono, shape (n_samples,)."""
    out = np.zeros(n_samples)
    tone_of = cache(lambda pitch, length_s: _bass_tone(float(midi_to_hz(pitch, a4_hz=song.a4_hz)), length_s, sr))
    for note in bass_notes(song):
        start_s, length_s = _timed(song, note, scatter_ms=5.0, rng=rng)
        add_at(out, tone_of(note.pitch, length_s), start_s, sr=sr, gain=note.strength)
        pluck = faded(band_noise(round(0.03 * sr), 250.0, 1800.0, sr=sr, rng=rng), in_s=0.002, out_s=0.025, sr=sr)
        add_at(out, pluck, start_s, sr=sr, gain=0.025 * note.strength)
    return out


def _bass_tone(hz: float, length_s: float, sr: int) -> Signal:
    partials = [0.3, 0.165, 0.096, 0.06, 0.036, 0.021, 0.012, 0.008]
    decays = [1.5 / k**0.75 for k in range(1, 9)]
    return faded(struck_tone(hz, partials, decays, duration_s=length_s + 0.06, sr=sr), in_s=0.006, out_s=0.06, sr=sr)


def play_keys(song: Song, *, n_samples: int, sr: int, rng: np.random.Generator) -> Signal:
    """An electric piano, stereo, shape (2, n_samples), with a slow swing from side to side."""
    out = np.zeros(n_samples)
    tone_of = cache(
        lambda pitch, length_s, strength: _keys_tone(
            float(midi_to_hz(pitch, a4_hz=song.a4_hz)), length_s, strength, sr
        )
    )
    for note in keys_notes(song):
        start_s, length_s = _timed(song, note, scatter_ms=6.0, rng=rng)
        add_at(out, tone_of(note.pitch, length_s, note.strength), start_s, sr=sr)
    sos = signal.butter(1, 4500.0, "lowpass", fs=sr, output="sos")
    body = np.asarray(signal.sosfilt(sos, out), dtype=np.float64)
    swing = 0.3 * np.sin(2.0 * np.pi * 1.37 * np.arange(n_samples) / sr)
    return np.stack([body * np.sqrt(1.0 + swing), body * np.sqrt(1.0 - swing)])


def _keys_tone(hz: float, length_s: float, strength: float, sr: int) -> Signal:
    """A harder touch brings out the upper partials; the seventh is the short ring of the tine."""
    bite = strength**2
    partials = [0.11, 0.035 * bite + 0.01, 0.012, 0.008 * bite, 0.004, 0.002, 0.006 * bite]
    decays = [1.9, 0.9, 0.6, 0.4, 0.3, 0.25, 0.07]
    tone = struck_tone(hz, [strength * p for p in partials], decays, duration_s=length_s + 0.12, sr=sr)
    return faded(tone, in_s=0.003, out_s=0.12, sr=sr)


def _timed(song: Song, note: BandNote, *, scatter_ms: float, rng: np.random.Generator) -> tuple[float, float]:
    """Start and length in seconds, the start a little early or late."""
    start_s, end_s = song.grid.beat_to_sec([note.onset_beat, note.onset_beat + note.duration_beats])
    scatter_s = scatter_ms / 1000.0 * float(np.clip(rng.standard_normal(), -2.0, 2.0))
    return float(start_s) + scatter_s, round(float(end_s - start_s), 6)
