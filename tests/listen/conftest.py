"""Sound made for the tests: tones by formula, and General MIDI renderings of notes that a test chooses."""

import io
import wave
from pathlib import Path

import mido
import numpy as np
import pytest

from obbligato.sound.audio import Audio

TICKS = 480


@pytest.fixture(scope="session")
def render():
    """`render(notes, bpm=...)`: notes are (program, onset_beat, beats, pitch, velocity); program None is drums."""
    import midirenderer
    import pretty_midi

    bank = (Path(pretty_midi.__file__).parent / "TimGM6mb.sf2").read_bytes()

    def render_notes(notes, *, bpm):
        midi = mido.MidiFile(ticks_per_beat=TICKS)
        tempo = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=round(60e6 / bpm))])
        midi.tracks.append(tempo)
        for channel, program in enumerate(dict.fromkeys(note[0] for note in notes)):
            midi.tracks.append(_track(program, 9 if program is None else channel, notes))
        data = io.BytesIO()
        midi.save(file=data)
        with wave.open(io.BytesIO(bytes(midirenderer.render_wave_from(bank, data.getvalue())))) as sound:
            y = np.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2").reshape(-1, sound.getnchannels())
            return Audio((y.T / 32768.0).astype(np.float32), sound.getframerate())

    return render_notes


def _track(program, channel, notes):
    track = mido.MidiTrack()
    if program is not None:
        track.append(mido.Message("program_change", program=program, channel=channel))
    events = []
    for _, onset, beats, pitch, velocity in (n for n in notes if n[0] == program):
        events.append((round(onset * TICKS), 1, pitch, velocity))
        events.append((round((onset + beats) * TICKS), 0, pitch, 0))
    now = 0
    for tick, on, pitch, velocity in sorted(events):
        kind = "note_on" if on else "note_off"
        track.append(mido.Message(kind, channel=channel, note=pitch, velocity=velocity, time=tick - now))
        now = tick
    return track
