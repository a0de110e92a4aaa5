"""Notes in seconds as sound, by the General MIDI bank that comes with pretty_midi."""

from __future__ import annotations

import importlib.resources
import io
from dataclasses import dataclass
from functools import cache

import midirenderer
import mido
import numpy as np
import soundfile as sf
import soxr

from obbligato.units import cents_to_ratio

BANK_CENTS = 3.0
"""How sharp the bank itself is: lone notes of its guitars, organs, basses and winds lie 2 to 3.8 cents above A4 = 440
(peaks of spectra over 1.5 s, `bank_cents`). The piano strays further, from -1.9 to 4.6 cents by the note."""

SR = 48000
DRUMS = 9
_TICKS_PER_S = 10000


@dataclass(frozen=True)
class Note:
    """A note in seconds; `part` is `drums`, `bass`, `comp` or `lead`."""

    part: str
    start_s: float
    end_s: float
    key: int
    velocity: int


_CHANNELS = {"bass": (0, 64), "comp": (1, 44), "lead": (2, 84), "drums": (DRUMS, 64)}


def play(notes: list[Note], programs: dict[str, int], *, cents: float, seconds: float) -> np.ndarray:
    """Stereo, shape (2, n), 48 kHz; the whole of it is tuned by `cents` with no note moved in time."""
    ratio = cents_to_ratio(cents - BANK_CENTS)
    sound = _render(notes, programs, stretch=float(ratio))
    retuned = soxr.resample(sound.T, SR * float(ratio), SR).T
    n = round(seconds * SR)
    return np.pad(retuned, ((0, 0), (0, max(0, n - retuned.shape[1]))))[:, :n].astype(np.float64)


def bank_cents(program: int, keys: tuple[int, ...] = (52, 57, 62, 67)) -> float:
    """How many cents a program lies from equal temperament about 440 Hz: mean over lone notes and four partials."""
    found = []
    for key in keys:
        y = _render([Note("comp", 0.0, 2.0, key, 85)], {"comp": program}, stretch=1.0).mean(axis=0)
        y = y[round(0.2 * SR) : round(1.7 * SR)]
        n = 1 << 18
        spectrum = np.abs(np.fft.rfft(y * np.hanning(y.size), n))
        f0 = 440.0 * 2.0 ** ((key - 69) / 12.0)
        for partial in range(1, 5):
            low, high = (int(f0 * partial * edge * n / SR) for edge in (0.97, 1.03))
            at = low + int(spectrum[low:high].argmax())
            found.append((1200.0 * np.log2(at * SR / n / (f0 * partial)), spectrum[at]))
    return float(np.average([c for c, _ in found], weights=[w for _, w in found]))


@cache
def _bank() -> bytes:
    return (importlib.resources.files("pretty_midi") / "TimGM6mb.sf2").read_bytes()


def _render(notes: list[Note], programs: dict[str, int], *, stretch: float) -> np.ndarray:
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500000)])
    events: list[tuple[int, int, mido.Message]] = []
    for part, (channel, pan) in _CHANNELS.items():
        if channel != DRUMS:
            events.append((0, 0, mido.Message("program_change", channel=channel, program=programs.get(part, 0))))
        events.append((0, 0, mido.Message("control_change", channel=channel, control=10, value=pan)))
    for note in notes:
        channel = _CHANNELS[note.part][0]
        start, end = (round(max(0.0, t) * stretch * _TICKS_PER_S) for t in (note.start_s, note.end_s))
        end = max(end, start + 300)
        velocity = int(np.clip(note.velocity, 1, 127))
        events.append((start, 2, mido.Message("note_on", channel=channel, note=note.key, velocity=velocity)))
        events.append((end, 1, mido.Message("note_off", channel=channel, note=note.key)))
    events.sort(key=lambda e: e[:2])
    now = 0
    for tick, _, message in events:
        track.append(message.copy(time=tick - now))
        now = tick
    file = mido.MidiFile(ticks_per_beat=_TICKS_PER_S // 2, tracks=[track])
    data = io.BytesIO()
    file.save(file=data)
    y, rate = sf.read(io.BytesIO(midirenderer.render_wave_from(_bank(), data.getvalue())), always_2d=True)
    assert rate == SR
    return y.T
