"""A soft brass instrument by adding harmonics: brighter when louder, spoken attacks, slurs, late vibrato, breath."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.demo.tones import Signal, add_at, band_noise, faded, harmonic_tone, smoothed, wander
from obbligato.units import db_to_amplitude, midi_to_hz

_N_HARMONICS = 28
_FRAMES_PER_S = 500
_LEAD_S = 0.06
_TAIL_S = 0.3
_BELL_HZ = 1500.0
"""Above this the sound of a wide-belled instrument falls off (common practice, no source)."""


@dataclass(frozen=True)
class BrassStyle:
    """How the instrument is blown.

    Attributes
    ----------
    darkness
        How fast harmonics fall: larger is darker.
    attack_s, release_s
        Rise of a tongued note and fall of the last note of a phrase.
    slur_s
        Time in which the pitch moves from note to note.
    scoop_cents
        How far below a tongued first note starts.
    vibrato_hz, vibrato_cents, vibrato_delay_s
        Rate, half the width, and how long a note is held before vibrato sets in.
    """

    darkness: float = 1.0
    attack_s: float = 0.028
    release_s: float = 0.07
    slur_s: float = 0.022
    scoop_cents: float = 45.0
    vibrato_hz: float = 5.1
    vibrato_cents: float = 11.0
    vibrato_delay_s: float = 0.45
    breath_dbfs: float = -50.0


@dataclass(frozen=True)
class BlownNote:
    """One note: seconds, pitch as a fractional MIDI number, RMS level of its sustained part."""

    start_s: float
    end_s: float
    pitch: float
    level_dbfs: float


def blow(
    notes: Sequence[BlownNote],
    *,
    sr: int,
    a4_hz: float,
    rng: np.random.Generator,
    style: BrassStyle = BrassStyle(),
) -> tuple[Signal, float]:
    """Play one phrase in one breath.

    Returns
    -------
    The phrase with the breath before it, shape (n_samples,), dry; and the time at which its first sample lies.
    """
    hop = sr // _FRAMES_PER_S
    origin_s = notes[0].start_s - _LEAD_S
    n_samples = round((notes[-1].end_s + _TAIL_S - origin_s) * sr)
    n_frames = n_samples // hop + 2
    frame_s = origin_s + np.arange(n_frames) * hop / sr
    envelope, level = _loudness(notes, frame_s, style, rng)
    f0 = midi_to_hz(_pitch_course(notes, frame_s, style, rng), a4_hz=a4_hz)
    samples = np.arange(n_samples)
    f0_samples = np.interp(samples, np.arange(n_frames) * hop, f0)
    tone = harmonic_tone(f0_samples, _spectrum(f0, envelope, level, style), sr=sr, hop=hop)
    air = band_noise(n_samples, 700.0, 6500.0, sr=sr, rng=rng)
    tone += 0.006 * air * np.interp(samples, np.arange(n_frames) * hop, envelope * level)
    for i, note in enumerate(notes):
        if i == 0 or note.start_s - notes[i - 1].end_s > 0.05:
            tongue = faded(
                band_noise(round(0.022 * sr), 900.0, 5000.0, sr=sr, rng=rng), in_s=0.003, out_s=0.015, sr=sr
            )
            add_at(tone, tongue, note.start_s - origin_s, sr=sr, gain=0.07 * float(db_to_amplitude(note.level_dbfs)))
    return _with_breath(tone, origin_s, sr=sr, rng=rng, style=style)


def _with_breath(
    tone: Signal, origin_s: float, *, sr: int, rng: np.random.Generator, style: BrassStyle
) -> tuple[Signal, float]:
    """Put an in-breath before a phrase, ending a tenth of a second before its first note."""
    breath_s = 0.3 + 0.15 * float(rng.random())
    breath = faded(band_noise(round(breath_s * sr), 600.0, 4500.0, sr=sr, rng=rng), in_s=0.22, out_s=0.08, sr=sr)
    gap = round(0.04 * sr)
    out = np.concatenate([breath * float(db_to_amplitude(style.breath_dbfs)), np.zeros(gap), tone])
    return out, origin_s - (breath.size + gap) / sr


def _loudness(
    notes: Sequence[BlownNote], frame_s: Signal, style: BrassStyle, rng: np.random.Generator
) -> tuple[Signal, Signal]:
    """Envelope from 0 to about 1, and the level (linear) that 1 stands for, at every frame."""
    envelope = np.zeros(frame_s.size)
    levels = np.empty(len(notes))
    for i, note in enumerate(notes):
        slurred_in = i > 0 and note.start_s - notes[i - 1].end_s <= 0.05
        slurred_out = i + 1 < len(notes) and notes[i + 1].start_s - note.end_s <= 0.05
        end_s = notes[i + 1].start_s if slurred_out else note.end_s
        attack_s = 0.018 if slurred_in else style.attack_s * (1.0 + 0.2 * rng.uniform(-1.0, 1.0))
        release_s = 0.03 if slurred_out else style.release_s
        rise = _half_cosine((frame_s - note.start_s) / attack_s)
        fall = 1.0 - _half_cosine((frame_s - end_s) / release_s)
        through = np.clip((frame_s - note.start_s) / (end_s - note.start_s), 0.0, 1.0)
        held = 0.94 + min(0.1 * (end_s - note.start_s), 0.18) * np.sin(np.pi * through) - 0.1 * through
        envelope = np.maximum(envelope, rise * fall * held)
        levels[i] = float(db_to_amplitude(note.level_dbfs))
    starts = np.array([n.start_s for n in notes])
    current = np.clip(np.searchsorted(starts, frame_s, side="right") - 1, 0, len(notes) - 1)
    level = smoothed(levels[current], round(0.03 * _FRAMES_PER_S))
    return envelope * (1.0 + 0.02 * wander(frame_s.size, step_points=12, rng=rng)), level


def _half_cosine(x: Signal) -> Signal:
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(x, 0.0, 1.0)))


def _pitch_course(notes: Sequence[BlownNote], frame_s: Signal, style: BrassStyle, rng: np.random.Generator) -> Signal:
    """Fractional MIDI pitch at every frame."""
    starts = np.array([n.start_s for n in notes])
    pitches = np.array([n.pitch for n in notes])
    lengths = np.array([n.end_s - n.start_s for n in notes])
    current = np.clip(np.searchsorted(starts, frame_s, side="right") - 1, 0, len(notes) - 1)
    pitch = smoothed(pitches[current], round(style.slur_s * _FRAMES_PER_S))
    since_s = np.maximum(frame_s - starts[current], 0.0)
    scoop = style.scoop_cents / 100.0 * float(rng.uniform(0.3, 1.0))
    pitch = pitch - scoop * np.exp(-np.maximum(frame_s - starts[0], 0.0) / 0.035)
    depth = style.vibrato_cents / 100.0 * np.clip((since_s - style.vibrato_delay_s) / 0.5, 0.0, 1.0)
    depth = np.where(lengths[current] > style.vibrato_delay_s + 0.3, depth, 0.0)
    rate = style.vibrato_hz * (1.0 + 0.03 * wander(frame_s.size, step_points=120, rng=rng))
    pitch = pitch + depth * np.sin(2.0 * np.pi * np.cumsum(rate) / _FRAMES_PER_S)
    return np.asarray(pitch + 0.01 * wander(frame_s.size, step_points=4, rng=rng))


def _spectrum(f0_hz: Signal, envelope: Signal, level: Signal, style: BrassStyle) -> Signal:
    """Amplitude of every harmonic at every frame; the upper ones need more breath, so they rise later and fall first.

    Level and brightness go together as in real brass (Risset & Mathews, Physics Today 22(2), 1969); the figures of
    the slope are common practice, no source.
    """
    order = np.arange(1, _N_HARMONICS + 1)[:, None]
    loudness = np.clip(level / 0.1, 0.1, 3.0)
    reach = (0.9 + 1.2 * loudness) / style.darkness
    bell = 1.0 / np.sqrt(1.0 + (order * f0_hz / _BELL_HZ) ** 2)
    shape = order**0.25 * np.exp(-(order - 1.0) / reach) * bell
    sustained = np.sqrt(0.5 * np.sum(shape**2, axis=0))
    return np.asarray(shape / sustained * level * np.maximum(envelope, 0.0) ** (1.0 + 0.2 * (order - 1)))
