"""Short invented songs in many styles, played by a General MIDI bank, for benches of listening.

A style is a bar of strokes and how the pitched instruments play; a `Song` puts it in time: steady, drifting or
slowing down, with or without a count-in, a pick-up and silence at the head. Nothing here is used by the program.
"""

from __future__ import annotations

import importlib.resources
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise

import midirenderer
import mido
import numpy as np
import soundfile as sf

from obbligato.sound.audio import Audio

KICK, SNARE, STICK, HAT, OPEN_HAT, RIDE, CRASH, CLICK, TAMB = 36, 38, 37, 42, 46, 51, 49, 76, 54
TOM = 45
TICKS_PER_S = 10000

Played = tuple[int, float, float, int, int]


@dataclass(frozen=True)
class Style:
    """One bar: drum strokes (beat, key, velocity), onsets of bass and chord instrument, and their programs."""

    beats_per_bar: int
    beat_unit: str
    drums: tuple[tuple[float, int, int], ...]
    bass: tuple[float, ...]
    chords: tuple[float, ...]
    bass_program: int = 33
    chord_program: int = 4
    lead_program: int | None = 65
    lead_step: float = 0.5
    arpeggio: bool = False


def _every(
    step: float, end: float, key: int, loud: int, soft: int, *, start: float = 0.0
) -> tuple[tuple[float, int, int], ...]:
    places = np.arange(start, end - 1e-6, step)
    return tuple((float(b), key, loud if abs(b - round(b)) < 1e-6 else soft) for b in places)


T = 1.0 / 3.0
STYLES: dict[str, Style] = {
    "rock": Style(
        4,
        "quarter",
        (
            (0, KICK, 110),
            (2, KICK, 105),
            (2.5, KICK, 85),
            (1, SNARE, 110),
            (3, SNARE, 112),
            *_every(0.5, 4, HAT, 85, 65),
        ),
        tuple(np.arange(0, 4, 0.5)),
        (0, 2.5),
        chord_program=29,
    ),
    "house": Style(
        4,
        "quarter",
        (
            *_every(1, 4, KICK, 112, 112),
            (1, SNARE, 80),
            (3, SNARE, 80),
            *_every(1, 4, OPEN_HAT, 90, 90, start=0.5),
            *_every(0.25, 4, HAT, 50, 40),
        ),
        (0.5, 1.5, 2.5, 3.5),
        (0, 0.75, 1.5, 2.5, 3.25),
        bass_program=38,
        chord_program=89,
    ),
    "ballad": Style(
        4,
        "quarter",
        ((0, KICK, 95), (1.5, KICK, 60), (2, KICK, 85), (1, STICK, 90), (3, STICK, 92), *_every(0.5, 4, HAT, 60, 45)),
        (0, 2),
        (0, 1, 2, 3),
        chord_program=0,
    ),
    "funk": Style(
        4,
        "quarter",
        (
            (0, KICK, 110),
            (0.75, KICK, 90),
            (2.5, KICK, 100),
            (1, SNARE, 110),
            (1.75, SNARE, 40),
            (2.25, SNARE, 40),
            (3, SNARE, 112),
            *_every(0.25, 4, HAT, 80, 55),
        ),
        (0, 0.75, 1.5, 2.5, 2.75, 3.5),
        (0.5, 1.75, 2.25, 3.5),
        bass_program=36,
        chord_program=7,
        lead_step=0.25,
    ),
    "halftime": Style(
        4,
        "quarter",
        ((0, KICK, 112), (1.5, KICK, 90), (2, SNARE, 115), *_every(0.5, 4, HAT, 85, 70)),
        (0, 1.5, 3),
        (0,),
        chord_program=30,
    ),
    "punk": Style(
        4,
        "quarter",
        (
            (0, KICK, 110),
            (1, SNARE, 112),
            (2, KICK, 110),
            (2.5, KICK, 100),
            (3, SNARE, 112),
            *_every(0.5, 4, RIDE, 85, 60),
        ),
        tuple(np.arange(0, 4, 0.5)),
        tuple(np.arange(0, 4, 0.5)),
        chord_program=30,
    ),
    "swing": Style(
        4,
        "quarter",
        (
            (0, RIDE, 90),
            (1, RIDE, 100),
            (1 + 2 * T, RIDE, 70),
            (2, RIDE, 90),
            (3, RIDE, 100),
            (3 + 2 * T, RIDE, 70),
            (1, 44, 80),
            (3, 44, 80),
            (0, KICK, 45),
            (2, KICK, 40),
        ),
        (0, 1, 2, 3),
        (0, 1 + 2 * T),
        bass_program=32,
        chord_program=0,
        lead_step=T,
    ),
    "shuffle": Style(
        4,
        "quarter",
        (
            (0, KICK, 110),
            (1 + 2 * T, KICK, 80),
            (2, KICK, 105),
            (1, SNARE, 110),
            (3, SNARE, 112),
            *((b + k * 2 * T, HAT, 80 - 20 * k) for b in range(4) for k in range(2)),
        ),
        tuple(b + k * 2 * T for b in range(4) for k in range(2)),
        (0, 2 * T, 2),
        chord_program=27,
        lead_step=T,
    ),
    "bossa": Style(
        4,
        "quarter",
        (
            (0, KICK, 70),
            (1.5, KICK, 55),
            (2, KICK, 70),
            (3.5, KICK, 55),
            *((b, STICK, 80) for b in (0, 1.5, 3)),
            *_every(0.5, 4, HAT, 50, 40),
        ),
        (0, 1.5, 2, 3.5),
        (0, 1.5, 2.5),
        bass_program=32,
        chord_program=24,
        lead_program=73,
    ),
    "waltz": Style(
        3,
        "quarter",
        ((0, KICK, 95), (1, SNARE, 60), (2, SNARE, 60), *_every(1, 3, RIDE, 70, 70)),
        (0,),
        (1, 2),
        bass_program=32,
        chord_program=21,
    ),
    "three": Style(
        3,
        "quarter",
        ((0, KICK, 100), (1, STICK, 80), (2, STICK, 70), *_every(0.5, 3, HAT, 70, 50)),
        (0, 2),
        (0, 1, 2),
        chord_program=0,
    ),
    "jig": Style(
        2,
        "dotted quarter",
        ((0, KICK, 100), (1, SNARE, 90), *_every(T, 2, TAMB, 80, 50)),
        (0, 1),
        (0, 2 * T, 1, 1 + 2 * T),
        chord_program=25,
        lead_program=110,
        lead_step=T,
    ),
    "twelve": Style(
        4,
        "dotted quarter",
        (
            (0, KICK, 100),
            (2, KICK, 90),
            (1 + 2 * T, KICK, 60),
            (1, SNARE, 95),
            (3, SNARE, 98),
            *_every(T, 4, HAT, 75, 50),
        ),
        (0, 2),
        tuple(np.arange(12) * T),
        chord_program=0,
        lead_step=T,
        arpeggio=True,
    ),
    "piano": Style(
        4,
        "quarter",
        (),
        (0, 2),
        tuple(np.arange(0, 4, 0.5)),
        bass_program=0,
        chord_program=0,
        lead_program=73,
        arpeggio=True,
    ),
    "strum": Style(
        4, "quarter", (), (0, 2), (0, 1, 1.5, 2.5, 3, 3.5), bass_program=32, chord_program=25, lead_program=None
    ),
    "piano waltz": Style(3, "quarter", (), (0,), (1, 2), bass_program=0, chord_program=0, lead_program=71),
    "guitar six": Style(
        2,
        "dotted quarter",
        (),
        (0, 1),
        tuple(np.arange(6) * T),
        bass_program=24,
        chord_program=24,
        lead_program=None,
        lead_step=T,
        arpeggio=True,
    ),
    "strings": Style(4, "quarter", (), (0,), (0, 2), bass_program=43, chord_program=48, lead_program=60),
}

_PROGRESSIONS = ((0, 9, 5, 7), (0, 5, 9, 7), (9, 5, 0, 7), (0, 7, 9, 5), (0, 2, 7, 0), (2, 7, 0, 9))
_MINOR = {2, 4, 9}


@dataclass(frozen=True)
class Song:
    """A song of a style in time; `tempo(beat)` multiplies the tempo at a beat (1 everywhere: steady)."""

    style: str
    bpm: float
    bars: int = 48
    count_in_bars: int = 0
    count_in_every: int = 1
    pick_up_beats: float = 0.0
    head_s: float = 0.3
    scatter_ms: float = 4.0
    bars_per_chord: float = 1.0
    fill: bool = True
    seed: int = 1
    tempo: Callable[[float], float] | None = field(default=None)

    def beat_times(self, beats: np.ndarray) -> np.ndarray:
        """Seconds of beats counted from bar 1."""
        meter = STYLES[self.style]
        first = -self.count_in_bars * meter.beats_per_bar - (0 if self.count_in_bars else np.ceil(self.pick_up_beats))
        fine = np.arange(first, self.bars * meter.beats_per_bar + 4.0, 1.0 / 48)
        speed = np.array([self.tempo(b) if self.tempo else 1.0 for b in fine])
        seconds = self.head_s + np.concatenate([[0.0], np.cumsum(60.0 / self.bpm / 48 / speed[:-1])])
        return np.asarray(np.interp(beats, fine, seconds))


@cache
def _bank() -> bytes:
    return (importlib.resources.files("pretty_midi") / "TimGM6mb.sf2").read_bytes()


def notes(song: Song) -> list[Played]:
    """Channel, onset and end in beats, key, velocity of everything but the count-in."""
    style = STYLES[song.style]
    rng = np.random.default_rng(song.seed)
    key = int(rng.integers(0, 12))
    progression = _PROGRESSIONS[int(rng.integers(len(_PROGRESSIONS)))]
    out: list[Played] = []
    for bar in range(song.bars):

        def chord(beat: float, bar: int = bar) -> list[int]:
            step = progression[int((bar + beat / style.beats_per_bar) / song.bars_per_chord + 1e-9) % 4]
            root = (key + step) % 12
            return [root, (root + (3 if step in _MINOR else 4)) % 12, (root + 7) % 12]

        out += _drums(song, bar, rng)
        out += _backing(style, bar * style.beats_per_bar, chord, rng)
        if style.lead_program is not None and (bar // 4) % 2 == 1:
            out += _lead(style, bar * style.beats_per_bar, chord, rng)
    for k in range(round(song.pick_up_beats / style.lead_step)):
        b = -(k + 1) * style.lead_step
        out.append((2, b, b + 0.9 * style.lead_step, 67 + (k % 3), 85))
    end = song.bars * style.beats_per_bar
    return [*out, (0, end, end + 3, 36 + key, 90)]


def _drums(song: Song, bar: int, rng: np.random.Generator) -> list[Played]:
    """One bar of drums: a crash every eighth bar, and a fill before it."""
    style = STYLES[song.style]
    per_bar, start = style.beats_per_bar, bar * style.beats_per_bar
    if not style.drums:
        return []
    out: list[Played] = []
    filling = song.fill and bar % 8 == 7
    for b, drum, v in style.drums:
        if not (filling and b >= per_bar / 2 and drum in (HAT, RIDE, KICK)):
            out.append((9, start + b, start + b + 0.1, drum, v + int(rng.integers(-6, 7))))
    if filling:
        step = T if style.beat_unit == "dotted quarter" or song.style in ("swing", "shuffle") else 0.25
        places = np.arange(per_bar / 2, per_bar - 1e-6, step)
        out += [(9, start + b, start + b + 0.1, TOM if b % 1 else SNARE, 80) for b in places]
    if bar % 8 == 0:
        out.append((9, start, start + 0.2, CRASH, 90))
    return out


def _backing(
    style: Style, start: float, chord: Callable[[float], list[int]], rng: np.random.Generator
) -> list[Played]:
    """One bar of bass and chord instrument."""
    out: list[Played] = []
    for b, after in pairwise((*style.bass, float(style.beats_per_bar))):
        degree = 2 if rng.random() < 0.25 and b > 0 else 0
        out.append((0, start + b, start + b + 0.9 * (after - b), 36 + chord(b)[degree] % 12, 90))
    for i, (b, after) in enumerate(pairwise((*style.chords, float(style.beats_per_bar)))):
        end = start + b + 0.87 * (after - b)
        if style.arpeggio:
            out.append((1, start + b, end, 60 + chord(b)[i % 3], 80 - 15 * int(b % 1 > 0)))
        else:
            out += [(1, start + b, end, 55 + (p - 55) % 12, 78) for p in chord(b)]
    return out


def _lead(style: Style, start: float, chord: Callable[[float], list[int]], rng: np.random.Generator) -> list[Played]:
    """One bar of a tune over the chords."""
    out: list[Played] = []
    b = 0.0
    while b < style.beats_per_bar - 1e-6:
        length = style.lead_step * int(rng.choice([1, 1, 2, 3]))
        if rng.random() < 0.75:
            out.append((2, start + b, start + b + 0.9 * length, 65 + (int(rng.choice(chord(b))) - 65) % 12, 85))
        b += length
    return out


def play(song: Song, *, sr: int = 44100) -> Audio:
    """Render a song in stereo."""
    style = STYLES[song.style]
    rng = np.random.default_rng(song.seed + 1000)
    track = mido.MidiTrack()
    events: list[tuple[float, mido.Message]] = []
    for channel, program in ((0, style.bass_program), (1, style.chord_program), (2, style.lead_program or 65)):
        events.append((0.0, mido.Message("program_change", channel=channel, program=program)))
    played = notes(song)
    clicks = np.arange(-song.count_in_bars * style.beats_per_bar, 0, song.count_in_every)
    onsets = song.beat_times(np.array([n[1] for n in played]))
    ends = song.beat_times(np.array([n[2] for n in played]))
    onsets = onsets + rng.standard_normal(onsets.size) * song.scatter_ms / 1000
    sounding = [(c, o, e, k, v) for (c, _, _, k, v), o, e in zip(played, onsets, ends, strict=True)]
    sounding += [(9, float(t), float(t) + 0.05, CLICK, 100) for t in song.beat_times(clicks)]
    for channel, onset, end, key, velocity in sounding:
        start = max(onset, 0.0)
        vel = int(np.clip(velocity, 1, 127))
        events.append((start, mido.Message("note_on", channel=channel, note=int(key), velocity=vel)))
        events.append((max(end, start + 0.03), mido.Message("note_off", channel=channel, note=int(key))))
    events.sort(key=lambda e: (round(e[0] * TICKS_PER_S), e[1].type != "note_off"))
    now = 0
    for at, message in events:
        tick = round(at * TICKS_PER_S)
        track.append(message.copy(time=tick - now))
        now = tick
    file = mido.MidiFile(ticks_per_beat=TICKS_PER_S // 2)
    track.insert(0, mido.MetaMessage("set_tempo", tempo=500000))
    file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    y, rate = sf.read(
        io.BytesIO(midirenderer.render_wave_from(_bank(), data.getvalue())), dtype="float32", always_2d=True
    )
    return Audio(np.ascontiguousarray(y.T), int(rate))
