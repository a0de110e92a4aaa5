"""Notes played by a SoundFont: a MIDI file made in memory, rendered, and brought to the wanted rate and length.

The renderer gives 48 kHz, 16 bit, two channels, and starts notes only at the borders of blocks of 64 samples. Notes
are therefore asked for at the nearest border, which leaves an onset at most 0.67 ms off (half a block). A bank's own
samples may be out of tune with each other; `a4_hz` moves all of them by the same interval.
"""

from __future__ import annotations

import importlib.util
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soundfile

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.rate import resample
from obbligato.sound.shape import fit_length
from obbligato.units import A4_HZ, hz_to_midi

RENDER_SR = 48000
BLOCK = 64
"""What midirenderer works with; measured, not documented there."""

TICKS_PER_BLOCK = 10
TICKS_PER_S = RENDER_SR * TICKS_PER_BLOCK // BLOCK
"""One MIDI beat a second. Events stand half a block before the border at which they are to take effect, so that
rounding in the renderer cannot move them to another one."""

BANK_PACKAGE, BANK_FILE = "pretty_midi", "TimGM6mb.sf2"
A4_BOUNDS_HZ = (390.0, 500.0)
VOLUME, CHORUS = 7, 93
REGISTERED_LSB, REGISTERED_MSB, DATA_MSB, DATA_LSB = 100, 101, 6, 38
FINE_TUNING = 1
FINE_CENTRE = 8192
BEND_CENTS = 200.0
"""Reach of the pitch wheel either way until told otherwise (General MIDI level 1)."""
"""Registered parameter 1 of MIDI 1.0: 14 bits, the centre being no change, the ends 100 cents away."""


@dataclass(frozen=True)
class TimedNote:
    """A note in seconds, in sounding MIDI pitch, with a MIDI velocity from 1 to 127."""

    start_s: float
    end_s: float
    pitch: int
    velocity: int = 80


@dataclass(frozen=True)
class Bend:
    """From a moment on, all that sounds is so many cents off its pitch, within 200 either way."""

    at_s: float
    cents: float


def default_soundfont() -> Path:
    """The bank that comes with an installed package.

    Raises
    ------
    InputError
        When that package has been taken away.
    """
    spec = importlib.util.find_spec(BANK_PACKAGE)
    bank = Path(spec.origin).parent / BANK_FILE if spec is not None and spec.origin else None
    if bank is None or not bank.is_file():
        raise InputError("The SoundFont that belongs to this program is missing; install it anew, or name another.")
    return bank


def render_notes(
    notes: Sequence[TimedNote],
    *,
    program: int,
    n_samples: int,
    sr: int,
    a4_hz: float = A4_HZ,
    soundfont: Path | None = None,
    bends: Sequence[Bend] = (),
) -> Audio:
    """Play notes of one General MIDI sound.

    Parameters
    ----------
    notes
        In any order; two of the same pitch never overlap in the result, the first is let go for the second.
    program
        General MIDI program, 1-based.
    n_samples, sr
        Length and rate of the result; time 0 is its first sample. What rings on after the end is cut off.
    a4_hz
        Moves the bank, which is made for 440 Hz, as a whole.
    soundfont
        A SoundFont 2 file; the usual bank if None.
    bends
        How the pitch moves meanwhile, in any order.

    Returns
    -------
    Audio
        One channel, float32; silence when there are no notes.

    Raises
    ------
    InputError
        When the SoundFont cannot be read, a note lies outside the sound or the MIDI pitches, or `a4_hz` is no tuning.
    """
    if not notes:
        return Audio(np.zeros((1, n_samples), np.float32), sr)
    import midirenderer

    checked = _checked(notes, n_samples / sr)
    midi = _midi_file(checked, bends, program=program, a4_hz=a4_hz, length_s=n_samples / sr)
    bank = soundfont or default_soundfont()
    bank_bytes = _bank_bytes(bank)
    try:
        wave = midirenderer.render_wave_from(bank_bytes, midi)
    except (RuntimeError, ValueError):
        raise InputError(f"'{bank}' cannot be read as a SoundFont; give a complete .sf2 file.") from None
    y, rate = soundfile.read(io.BytesIO(wave), dtype="float32", always_2d=True)
    return fit_length(resample(Audio(y.mean(axis=1), rate), sr), n_samples)


def _bank_bytes(bank: Path) -> bytes:
    try:
        return bank.read_bytes()
    except OSError:
        raise InputError(f"There is no SoundFont '{bank}' that can be opened; check the name.") from None


def _checked(notes: Sequence[TimedNote], length_s: float) -> list[TimedNote]:
    """The notes in order of onset, those outside the sound refused."""
    for note in notes:
        if not 0.0 <= note.start_s < length_s:
            raise InputError(
                f"A note begins at {note.start_s:.3f} s, outside the sound of {length_s:.3f} s; "
                "check where the line is placed."
            )
        if note.end_s <= note.start_s:
            raise InputError(f"The note at {note.start_s:.3f} s has no length.")
        if not 1 <= note.velocity <= 127:
            raise InputError(f"The note at {note.start_s:.3f} s has the velocity {note.velocity}; use 1 to 127.")
    return sorted(notes, key=lambda note: note.start_s)


def _midi_file(
    notes: Sequence[TimedNote], bends: Sequence[Bend], *, program: int, a4_hz: float, length_s: float
) -> bytes:
    if not A4_BOUNDS_HZ[0] <= a4_hz <= A4_BOUNDS_HZ[1]:
        raise InputError(f"a4_hz={a4_hz} must lie between {A4_BOUNDS_HZ[0]:.0f} and {A4_BOUNDS_HZ[1]:.0f} Hz.")
    semitones = float(hz_to_midi(a4_hz) - hz_to_midi(A4_HZ))
    whole = round(semitones)
    fine = min(FINE_CENTRE + round((semitones - whole) * FINE_CENTRE), 2 * FINE_CENTRE - 1)
    settings = (
        (VOLUME, 127),
        (CHORUS, 0),
        (REGISTERED_MSB, 0),
        (REGISTERED_LSB, FINE_TUNING),
        (DATA_MSB, fine >> 7),
        (DATA_LSB, fine & 127),
    )
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    track.append(mido.Message("program_change", program=program - 1))
    track.extend(mido.Message("control_change", control=control, value=value) for control, value in settings)
    now = 0
    for tick, _, message in sorted([*_events(notes, whole), *_bend_events(bends)], key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(1, _tick(length_s + 1.0) - now)))
    file = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_S)
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _events(notes: Sequence[TimedNote], transpose: int) -> list[tuple[int, int, mido.Message]]:
    """Starts and ends in order of time, ends first where they meet."""
    events = []
    ends_s: dict[int, float] = {}
    for note in reversed(notes):
        pitch = note.pitch + transpose
        if not 0 <= pitch <= 127:
            raise InputError(f"The note at {note.start_s:.3f} s has the MIDI pitch {note.pitch}; use 0 to 127.")
        end_s = min(note.end_s, ends_s.get(pitch, note.end_s))
        ends_s[pitch] = note.start_s
        events.append((_tick(note.start_s), 1, mido.Message("note_on", note=pitch, velocity=note.velocity)))
        if end_s > note.start_s:
            events.append((_tick(end_s), 0, mido.Message("note_off", note=pitch)))
    return sorted(events, key=lambda event: event[:2])


def _bend_events(bends: Sequence[Bend]) -> list[tuple[int, int, mido.Message]]:
    """Bends of the pitch, each before the start of a note at the same moment."""
    found = []
    for bend in bends:
        if abs(bend.cents) > BEND_CENTS:
            raise InputError(f"A bend of {bend.cents:+.0f} cents is too wide; use {BEND_CENTS:.0f} at most.")
        value = min(round(bend.cents / BEND_CENTS * FINE_CENTRE), FINE_CENTRE - 1)
        found.append((_tick(bend.at_s), 0, mido.Message("pitchwheel", pitch=value)))
    return found


def _tick(seconds: float) -> int:
    return max(0, round(seconds * RENDER_SR / BLOCK) * TICKS_PER_BLOCK - TICKS_PER_BLOCK // 2)
