"""A singer by source and filter: glottal harmonics through gliding formants, with consonants and breaths.

The source falls by 12 dB an octave and radiation gives 6 back (Fant, *Acoustic Theory of Speech Production*, 1960);
the vocal tract is a chain of resonances. Both are evaluated at the harmonics themselves, so nothing folds over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from obbligato.demo.phones import (
    BANDWIDTHS_HZ,
    CONSONANTS,
    HIGHER_FORMANTS_HZ,
    VOWELS_HZ,
    Segment,
    syllable_segments,
)
from obbligato.demo.song import SungNote, Syllable
from obbligato.demo.tones import Signal, add_at, band_noise, faded, harmonic_tone, smoothed, wander
from obbligato.music.grid import Grid
from obbligato.music.spans import Span
from obbligato.units import db_to_amplitude, midi_to_hz

_HOP = 120
_N_HARMONICS = 48


@dataclass(frozen=True)
class VoiceStyle:
    """How the singer sings.

    Attributes
    ----------
    tract_scale
        Formants against the table's; above 1 for a shorter vocal tract.
    tilt
        How fast the source falls with the harmonic number, as a power: 1 is soft, 0.6 is bright.
    behind_ms, scatter_ms
        How far the vowels come after the beat on average, and their standard deviation.
    vibrato_hz, vibrato_cents, vibrato_delay_s
        Rate, half the width, and how long a note is held straight before vibrato sets in.
    """

    tract_scale: float = 1.12
    tilt: float = 0.85
    behind_ms: float = 28.0
    scatter_ms: float = 14.0
    vibrato_hz: float = 5.4
    vibrato_cents: float = 38.0
    vibrato_delay_s: float = 0.35
    breath_db: float = -30.0


@dataclass(frozen=True)
class TimedSyllable:
    """A sung note in seconds, with the syllable whose vowel it carries."""

    start_s: float
    end_s: float
    pitch: float
    syllable: Syllable
    carried: bool


def sing(
    lines: Sequence[Sequence[SungNote]],
    grid: Grid,
    *,
    n_samples: int,
    sr: int,
    a4_hz: float,
    rng: np.random.Generator,
    style: VoiceStyle = VoiceStyle(),
) -> tuple[Signal, tuple[Span, ...]]:
    """Sing all lines.

    Returns
    -------
    The voice, shape (n_samples,), dry and mono; and for each line the span from its first consonant to the end of
    its last sound (a breath before it is not counted as voice).
    """
    out = np.zeros(n_samples)
    spans: list[Span] = []
    for line in lines:
        notes = _time_line(line, grid, style, rng)
        segments = _segments(notes)
        start_s, end_s = segments[0].start_s, segments[-1].end_s
        spans.append(Span(start_s, end_s))
        add_at(out, _sing_line(notes, segments, sr=sr, a4_hz=a4_hz, rng=rng, style=style), start_s - 0.1, sr=sr)
        breath_s = 0.32 + 0.1 * rng.random()
        breath = faded(band_noise(round(breath_s * sr), 900.0, 5500.0, sr=sr, rng=rng), in_s=0.2, out_s=0.1, sr=sr)
        add_at(out, breath, start_s - breath_s - 0.06, sr=sr, gain=0.2 * float(db_to_amplitude(style.breath_db)))
    return out, tuple(spans)


def _time_line(
    line: Sequence[SungNote], grid: Grid, style: VoiceStyle, rng: np.random.Generator
) -> list[TimedSyllable]:
    onsets = np.asarray(grid.beat_to_sec([n.onset_beat for n in line]))
    ends = np.asarray(grid.beat_to_sec([n.onset_beat + n.duration_beats for n in line]))
    late = (style.behind_ms + style.scatter_ms * np.clip(rng.standard_normal(len(line)), -2, 2)) / 1000.0
    starts = np.maximum.accumulate(onsets + late)
    stops = np.append(starts[1:], ends[-1] - 0.06)
    notes: list[TimedSyllable] = []
    syllable = line[0].syllable
    for note, start, stop in zip(line, starts, stops, strict=True):
        carried = not note.syllable.text
        syllable = syllable if carried else note.syllable
        notes.append(TimedSyllable(float(start), float(stop), float(note.pitch), syllable, carried))
    return notes


def _segments(notes: Sequence[TimedSyllable]) -> list[Segment]:
    """All phones of a line; a syllable carried over several notes is laid out once, over all of them."""
    whole: list[TimedSyllable] = []
    for note in notes:
        if note.carried:
            whole[-1] = replace(whole[-1], end_s=note.end_s)
        else:
            whole.append(note)
    segments: list[Segment] = []
    for i, note in enumerate(whole):
        earliest = note.start_s - 1.0
        if segments:
            earliest = max(
                segments[-1].end_s - 0.5 * (segments[-1].end_s - segments[-1].start_s), note.start_s - 0.25
            )
        s = note.syllable
        new = syllable_segments(
            s.onset, s.vowel, s.coda, earliest_s=earliest, start_s=note.start_s, end_s=note.end_s, latest_s=note.end_s
        )
        if i and segments:
            segments[-1] = replace(segments[-1], end_s=min(segments[-1].end_s, new[0].start_s))
        segments += new
    return segments


def _sing_line(
    notes: Sequence[TimedSyllable],
    segments: Sequence[Segment],
    *,
    sr: int,
    a4_hz: float,
    rng: np.random.Generator,
    style: VoiceStyle,
) -> Signal:
    """One line as sound, starting 0.1 s before its first phone."""
    origin_s = segments[0].start_s - 0.1
    n_samples = round((segments[-1].end_s + 0.25 - origin_s) * sr)
    n_frames = n_samples // _HOP + 2
    frame_s = origin_s + np.arange(n_frames) * _HOP / sr
    f0 = _pitch_course(notes, frame_s, a4_hz=a4_hz, rng=rng, style=style)
    voicing, formants = _tract_course(segments, frame_s, style)
    voicing = voicing * _swell(notes, frame_s) * (1.0 + 0.03 * wander(n_frames, step_points=4, rng=rng))
    amplitudes = _harmonic_amplitudes(f0, formants, voicing, style)
    f0_samples = np.interp(np.arange(n_samples), np.arange(n_frames) * _HOP, f0)
    out = harmonic_tone(f0_samples, amplitudes, sr=sr, hop=_HOP)
    air = band_noise(n_samples, 1800.0, 7000.0, sr=sr, rng=rng)
    out += 0.0035 * air * np.interp(np.arange(n_samples), np.arange(n_frames) * _HOP, voicing)
    for segment in segments:
        _add_consonant_noise(out, segment, origin_s, sr=sr, rng=rng)
    return out


def _pitch_course(
    notes: Sequence[TimedSyllable], frame_s: Signal, *, a4_hz: float, rng: np.random.Generator, style: VoiceStyle
) -> Signal:
    """Fundamental at every frame: glides between notes, a small scoop at the start, late vibrato, drift, jitter."""
    frames_per_s = 1.0 / (frame_s[1] - frame_s[0])
    starts = np.array([n.start_s for n in notes])
    pitches = np.array([n.pitch for n in notes])
    current = np.clip(np.searchsorted(starts, frame_s, side="right") - 1, 0, len(notes) - 1)
    pitch = smoothed(pitches[current], round(0.09 * frames_per_s))
    since_s = np.maximum(frame_s - starts[current], 0.0)
    pitch = pitch - 0.7 * np.exp(-np.maximum(frame_s - starts[0], 0.0) / 0.07)
    depth = style.vibrato_cents / 100.0 * np.clip((since_s - style.vibrato_delay_s) / 0.4, 0.0, 1.0)
    rate = style.vibrato_hz * (1.0 + 0.04 * wander(frame_s.size, step_points=80, rng=rng))
    pitch = pitch + smoothed(depth, round(0.05 * frames_per_s)) * np.sin(2.0 * np.pi * np.cumsum(rate) / frames_per_s)
    pitch = pitch + 0.08 * wander(frame_s.size, step_points=60, rng=rng)
    pitch = pitch + 0.05 * wander(frame_s.size, step_points=3, rng=rng)
    return midi_to_hz(pitch, a4_hz=a4_hz)


def _swell(notes: Sequence[TimedSyllable], frame_s: Signal) -> Signal:
    """Loudness over the line: higher notes a little louder, each note with a gentle decay."""
    starts = np.array([n.start_s for n in notes])
    pitches = np.array([n.pitch for n in notes])
    current = np.clip(np.searchsorted(starts, frame_s, side="right") - 1, 0, len(notes) - 1)
    since_s = np.maximum(frame_s - starts[current], 0.0)
    return np.asarray(10.0 ** (0.012 * (pitches[current] - 64.0)) * (0.8 + 0.2 * np.exp(-since_s / 0.8)))


def _tract_course(segments: Sequence[Segment], frame_s: Signal, style: VoiceStyle) -> tuple[Signal, Signal]:
    """Voicing (n_frames,) and formants (5, n_frames) at every frame."""
    frames_per_s = 1.0 / (frame_s[1] - frame_s[0])
    current = np.searchsorted([s.start_s for s in segments], frame_s, side="right") - 1
    levels, targets = [], []
    for segment in segments:
        vowel = VOWELS_HZ.get(segment.phone)
        levels.append(1.0 if vowel else CONSONANTS[segment.phone].voicing)
        targets.append(vowel or CONSONANTS[segment.phone].formants_hz)
    inside = (current >= 0) & (frame_s < segments[-1].end_s)
    at = np.clip(current, 0, len(segments) - 1)
    voicing = smoothed(np.where(inside, np.array(levels)[at], 0.0), round(0.03 * frames_per_s))
    three = smoothed(np.array(targets, dtype=np.float64).T[:, at] * style.tract_scale, round(0.07 * frames_per_s))
    upper = np.repeat(np.array(HIGHER_FORMANTS_HZ)[:, None] * style.tract_scale, frame_s.size, axis=1)
    return voicing, np.concatenate([three, upper])


def _harmonic_amplitudes(f0: Signal, formants: Signal, voicing: Signal, style: VoiceStyle) -> Signal:
    """Amplitude of every harmonic at every frame, shape (n_harmonics, n_frames), evened out between vowels."""
    order = np.arange(1, _N_HARMONICS + 1)[:, None]
    hz = order * f0
    tuned = formants.copy()
    tuned[0] = np.maximum(tuned[0], f0)
    gain = order ** (-style.tilt - 0.25)
    for centre, bandwidth in zip(tuned, BANDWIDTHS_HZ, strict=True):
        gain = gain * centre**2 / np.sqrt((centre**2 - hz**2) ** 2 + (hz * bandwidth) ** 2)
    power = np.sqrt(np.sum(gain**2, axis=0))
    return np.asarray(gain / np.maximum(power, 1e-9) ** 0.8 * 0.22 * voicing)


def _add_consonant_noise(
    out: Signal, segment: Segment, origin_s: float, *, sr: int, rng: np.random.Generator
) -> None:
    consonant = CONSONANTS.get(segment.phone)
    if consonant is None or consonant.noise_hz is None:
        return
    length_s = consonant.burst_s or segment.end_s - segment.start_s
    start_s = segment.end_s - length_s
    noise = band_noise(round((length_s + 0.02) * sr), *consonant.noise_hz, sr=sr, rng=rng)
    attack_s = 0.002 if consonant.burst_s else 0.03
    shaped = faded(noise, in_s=attack_s, out_s=0.02, sr=sr)
    add_at(out, shaped, start_s - origin_s, sr=sr, gain=0.6 * float(db_to_amplitude(consonant.noise_db)))
