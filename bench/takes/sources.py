"""Sound sources that follow a pitch to the cent: each turns a contour of frequency and one of level into sound.

Six ways of making sound that share no code: partials added, frequency modulation, a pulse through resonances, a
plucked string, and recorded notes of the General MIDI bank. The last two are first made at one steady pitch, which is
measured by a spectrum peak, and then read along the contour.
"""

from __future__ import annotations

import importlib.resources
import io
from dataclasses import dataclass
from functools import cache

import midirenderer
import mido
import numpy as np
import scipy.signal
import soundfile
from numpy.typing import NDArray

SR = 48000
Floats = NDArray[np.float64]
_LENGTH_S = 6.0
_EDGE = 32


@dataclass(frozen=True)
class Source:
    """A sound source.

    Attributes
    ----------
    kind
        `partials`, `fm`, `reed`, `string` (plucked) or `bank`.
    attack_s, release_s
        Rise and fall of a note; for `string` and `bank` the rise is that of the recorded note.
    lowest, highest
        MIDI pitches that suit it.
    vibrato_cents
        Half the width of its usual vibrato, 0 for none.
    breath
        Noise of air or bow, as a share of the tone.
    program
        Of the bank.
    slow
        Whether its attacks are too slow to be called clear.
    """

    name: str
    kind: str
    attack_s: float
    release_s: float
    lowest: int
    highest: int
    vibrato_cents: float = 0.0
    breath: float = 0.0
    tilt: float = 1.0
    program: int = 0
    slow: bool = False


SOURCES = (
    Source("brass", "partials", 0.025, 0.05, 55, 76, breath=0.008, tilt=1.0),
    Source("flute", "partials", 0.035, 0.06, 60, 84, vibrato_cents=14.0, breath=0.03, tilt=2.4),
    Source("bowed", "pulse", 0.06, 0.09, 48, 74, vibrato_cents=24.0, breath=0.006, slow=True),
    Source("oboe-like", "pulse", 0.02, 0.04, 58, 80, vibrato_cents=16.0, breath=0.004),
    Source("horn-like", "fm", 0.04, 0.06, 48, 70, breath=0.005),
    Source("reed", "reed", 0.02, 0.04, 50, 76, breath=0.008),
    Source("plucked", "string", 0.001, 0.03, 45, 72),
    Source("bank trumpet", "bank", 0.0, 0.05, 55, 76, program=56, vibrato_cents=10.0),
    Source("bank clarinet", "bank", 0.0, 0.05, 52, 76, program=71),
    Source("bank flute", "bank", 0.0, 0.06, 62, 84, program=73, vibrato_cents=12.0),
    Source("bank violin", "bank", 0.0, 0.08, 57, 80, program=40, vibrato_cents=18.0, slow=True),
    Source("bank tenor sax", "bank", 0.0, 0.05, 46, 68, program=66),
    Source("bank cello", "bank", 0.0, 0.08, 40, 62, program=42, vibrato_cents=14.0, slow=True),
    Source("bank trombone", "bank", 0.0, 0.05, 42, 64, program=57),
)


def sounded(source: Source, f0_hz: Floats, envelope: Floats, rng: np.random.Generator) -> Floats:
    """Sound along contours of frequency and level, both per sample at `SR`; peak near 1 at level 1."""
    y = _MAKERS[source.kind](source, f0_hz, envelope)
    if source.breath:
        air = scipy.signal.sosfilt(_AIR, rng.normal(size=len(y)))
        y = y + source.breath * envelope * air
    return np.asarray(y, dtype=np.float64)


_AIR = scipy.signal.butter(1, [600.0, 6000.0], "bandpass", fs=SR, output="sos")


def _phase(f0_hz: Floats) -> Floats:
    return 2 * np.pi * np.concatenate([[0.0], np.cumsum(f0_hz[:-1])]) / SR


def _partials(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    """Partials whose upper ones grow with the level, as winds do."""
    phase, top = _phase(f0_hz), int(min(40, 0.45 * SR // max(float(f0_hz.max()), 1.0)))
    y = np.zeros(len(f0_hz))
    for k in range(1, top + 1):
        y += k**-source.tilt * envelope ** (1.0 + 0.15 * (k - 1)) * np.sin(k * phase + 1.3 * k * k)
    return y / np.sum(np.arange(1, top + 1) ** -source.tilt) * 1.6


def _fm(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    """Carrier and modulator at one frequency, the index following the level (Chowning 1973)."""
    phase = _phase(f0_hz)
    return envelope * np.sin(phase + (0.3 + 2.2 * envelope) * np.sin(phase))


def _reed(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    """A modulator at twice the frequency leaves the odd partials, as a cylindrical reed instrument has them."""
    phase = _phase(f0_hz)
    return envelope * np.sin(phase + (0.2 + 1.4 * envelope) * np.sin(2 * phase))


def _pulse(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    """A band-limited saw through the resonances of a body."""
    phase, top = _phase(f0_hz), int(min(40, 0.4 * SR // max(float(f0_hz.max()), 1.0)))
    y = sum(np.sin(k * phase) / k for k in range(1, top + 1)) * envelope
    shaped = 0.25 * y
    for centre_hz, q in ((450.0, 3.0), (1050.0, 4.0), (2700.0, 3.0)):
        shaped = shaped + scipy.signal.lfilter(*scipy.signal.iirpeak(centre_hz, q, fs=SR), y)
    return np.asarray(0.5 * shaped)


def _string(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    recorded, hz = _plucked(round(SR / float(np.median(f0_hz))))
    return _read_along(recorded, hz, f0_hz) * envelope


def _bank(source: Source, f0_hz: Floats, envelope: Floats) -> Floats:
    midi = round(69 + 12 * float(np.log2(np.median(f0_hz) / 440.0)))
    recorded, hz = _banked(source.program, int(np.clip(midi, 24, 100)))
    return _read_along(recorded, hz, f0_hz) * envelope


_MAKERS = {"partials": _partials, "fm": _fm, "reed": _reed, "pulse": _pulse, "string": _string, "bank": _bank}


def _read_along(recorded: Floats, recorded_hz: float, f0_hz: Floats) -> Floats:
    """Read a steady sound at the speed that gives it a contour of frequency; cubic between samples."""
    at = np.concatenate([[0.0], np.cumsum(f0_hz[:-1] / recorded_hz)])
    at = np.minimum(at, len(recorded) - 4.0) + 1.0
    i = np.floor(at).astype(int)
    t = at - i
    padded = np.concatenate([[0.0], recorded, np.zeros(4)])
    a, b, c, d = (padded[i + k] for k in (-1, 0, 1, 2))
    return np.asarray(b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a))))


@cache
def _plucked(period: int) -> tuple[Floats, float]:
    """A string after Karplus and Strong (1983), two passes softened; its pitch is that of period + 1/2 samples."""
    rng = np.random.default_rng(period)
    n = round(_LENGTH_S * SR)
    burst = np.zeros(n)
    burst[:period] = np.convolve(rng.uniform(-1, 1, period + 8), np.ones(9) / 9, "valid")
    loop = np.zeros(period + 2)
    loop[0], loop[period], loop[period + 1] = 1.0, -0.4985, -0.4985
    y = scipy.signal.lfilter([1.0], loop, burst)
    y = y - np.mean(y)
    return y / np.abs(y).max(), SR / (period + 0.5)


@cache
def _banked(program: int, midi: int) -> tuple[Floats, float]:
    """A note of the bank from its first sound on, and its pitch by the first partials' spectral peaks."""
    bank = (importlib.resources.files("pretty_midi") / "TimGM6mb.sf2").read_bytes()
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    track.append(mido.Message("program_change", program=program))
    track.append(mido.Message("note_on", note=midi, velocity=96))
    track.append(mido.Message("note_off", note=midi, time=round(_LENGTH_S * 960)))
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    y, sr = soundfile.read(io.BytesIO(midirenderer.render_wave_from(bank, out.getvalue())), always_2d=True)
    mono = scipy.signal.resample_poly(y.mean(axis=1), SR, sr) if sr != SR else y.mean(axis=1)
    loud = np.flatnonzero(np.abs(mono) > 0.01 * np.abs(mono).max())
    mono = mono[max(0, loud[0] - _EDGE) : round(_LENGTH_S * SR)]
    return mono / np.abs(mono).max(), _pitch_hz(mono, 440.0 * 2 ** ((midi - 69) / 12))


def _pitch_hz(y: Floats, near_hz: float) -> float:
    """Frequency of a steady sound within half a semitone of `near_hz`: peaks of three partials, by parabolas."""
    middle = y[round(0.4 * SR) : round(3.4 * SR)]
    size = 2**20
    spectrum = np.log(np.abs(np.fft.rfft(middle * np.blackman(len(middle)), size)) + 1e-12)
    found, weights = [], []
    for k in (1, 2, 3):
        first, last = (round(k * near_hz * 2 ** (s / 24) * size / SR) for s in (-1, 1))
        i = first + int(np.argmax(spectrum[first:last]))
        a, b, c = spectrum[i - 1 : i + 2]
        found.append((i + 0.5 * (a - c) / (a - 2 * b + c)) * SR / size / k)
        weights.append(k * np.exp(b))
    return float(np.average(found, weights=weights))
