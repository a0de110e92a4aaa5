"""How well tuning, chords, keys and singers are heard.

    python bench/listen_ear.py                      rendered bands with known notes
    python bench/listen_ear.py --voice MIX VOCAL    also a mix against the level of its own vocal stem

The bands are random progressions at home in one major key (seconds and flat sevenths borrowed), rendered with the
General MIDI bank of the pretty_midi package, with drums and a random tune; the chord score is the weighted accuracy
of mir_eval.chord, the tuning is compared with librosa.estimate_tuning on the same sound.
"""

from __future__ import annotations

import argparse
import io
import time
import wave
from pathlib import Path

import librosa
import midirenderer
import mido
import mir_eval
import numpy as np
import pretty_midi
import soxr

from obbligato.listen.chords import find_chords
from obbligato.listen.chroma import beat_chroma
from obbligato.listen.keys import find_keys
from obbligato.listen.tuning import find_tuning
from obbligato.listen.voice import find_voice
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import note_name, parse_chord
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio

DEGREES = [(0, "maj"), (2, "min"), (4, "min"), (5, "maj"), (7, "maj"), (9, "min"), (7, "7"), (0, "maj7")]
DEGREES += [(5, "maj7"), (2, "min7"), (9, "min7"), (10, "maj"), (2, "7")]
PROGRAMS = {0: "piano", 4: "electric piano", 16: "organ", 25: "steel guitar", 30: "distorted guitar", 48: "strings"}
BARS = 16


def render(notes, bpm):
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=round(60e6 / bpm))]))
    for channel, program in enumerate(dict.fromkeys(n[0] for n in notes)):
        track = mido.MidiTrack()
        if program is not None:
            track.append(mido.Message("program_change", program=program, channel=channel))
        events = [(round(o * 480), 1, p, v) for q, o, _, p, v in notes if q == program]
        events += [(round((o + d) * 480), 0, p, 0) for q, o, d, p, _ in notes if q == program]
        now = 0
        for tick, on, pitch, velocity in sorted(events):
            kind, place = ("note_on" if on else "note_off"), (9 if program is None else channel)
            track.append(mido.Message(kind, channel=place, note=pitch, velocity=velocity, time=tick - now))
            now = tick
        midi.tracks.append(track)
    data = io.BytesIO()
    midi.save(file=data)
    bank = (Path(pretty_midi.__file__).parent / "TimGM6mb.sf2").read_bytes()
    with wave.open(io.BytesIO(bytes(midirenderer.render_wave_from(bank, data.getvalue())))) as sound:
        y = np.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2").reshape(-1, sound.getnchannels())
        return Audio((y.T / 32768.0).astype(np.float32), sound.getframerate())


def band(program, tonic, rng):
    labels = [f"{note_name(tonic + s)}:{q}" for s, q in [DEGREES[i] for i in rng.integers(0, len(DEGREES), BARS)]]
    labels[0] = labels[-1] = f"{note_name(tonic)}:maj"
    notes = []
    for bar, label in enumerate(labels):
        chord = parse_chord(label)
        notes += [(33, 4 * bar + b, 1.8, 28 + (chord.bass - 4) % 12, 95) for b in (0, 2)]
        notes += [(program, 4 * bar + b, 1.9, 52 + (pc - 4) % 12, 80) for b in (0, 2) for pc in chord.pitch_classes]
        tune = (tonic + rng.choice([0, 2, 4, 5, 7, 9, 11], 4)) % 12
        notes += [(73, 4 * bar + b, 0.8, 72 + int(tune[b]), 70) for b in range(4)]
        notes += [(None, 4 * bar + b, 0.2, 38 if b % 2 else 36, 100) for b in range(4)]
        notes += [(None, 4 * bar + b / 2, 0.2, 42, 75) for b in range(8)]
    return labels, notes


def chord_scores(labels, spans, grid):
    reference = grid.beat_to_sec([[4.0 * i, 4.0 * i + 4.0] for i in range(len(labels))])
    found, names = mir_eval.util.adjust_intervals(
        np.array([[s.start_s, s.end_s] for s in spans]),
        [s.label for s in spans],
        reference.min(),
        reference.max(),
        "N",
        "N",
    )
    intervals, a, b = mir_eval.util.merge_labeled_intervals(reference, labels, found, names)
    lengths = mir_eval.util.intervals_to_durations(intervals)
    measures = (mir_eval.chord.root, mir_eval.chord.majmin, mir_eval.chord.sevenths)
    return [mir_eval.chord.weighted_accuracy(measure(a, b), lengths) for measure in measures]


def bands(per_program):
    rng = np.random.default_rng(20)
    print(f"{'sound':18}{'cents off':>11}{'librosa':>9}{'key':>6}{'root':>7}{'majmin':>8}{'7ths':>7}")
    rows = []
    for program, name in PROGRAMS.items():
        for _ in range(per_program):
            tonic, bpm, cents = int(rng.integers(12)), float(rng.integers(70, 150)), float(rng.uniform(-30, 30))
            labels, notes = band(program, tonic, rng)
            plain = render(notes, bpm)
            ratio = 2.0 ** (cents / 1200.0)
            audio = Audio(soxr.resample(plain.y.T, plain.sr, plain.sr / ratio).T, plain.sr)
            tuning, before = find_tuning(audio), find_tuning(plain)
            theirs = 100.0 * (
                librosa.estimate_tuning(y=audio.mono(), sr=audio.sr)
                - librosa.estimate_tuning(y=plain.mono(), sr=plain.sr)
            )
            grid = Grid.steady(bpm * ratio, 0.0, Meter())
            chroma = beat_chroma(audio, grid, a4_hz=tuning.a4_hz)
            keys = find_keys(chroma, grid, end_s=audio.duration_s)
            right = len(keys) == 1 and (keys[0].tonic, keys[0].mode) in {(note_name(tonic), "major"), ("F#", "major")}
            scores = chord_scores(labels, find_chords(chroma, grid, prefer_flats=True, keys=keys), grid)
            rows.append([abs(tuning.cents - before.cents - cents), abs(theirs - cents), right, *scores])
        mine = np.mean(rows[-per_program:], axis=0)
        print(f"{name:18}{mine[0]:11.2f}{mine[1]:9.2f}{mine[2]:6.2f}{mine[3]:7.3f}{mine[4]:8.3f}{mine[5]:7.3f}")
    mean = np.mean(rows, axis=0)
    print(f"{'mean':18}{mean[0]:11.2f}{mean[1]:9.2f}{mean[2]:6.2f}{mean[3]:7.3f}{mean[4]:8.3f}{mean[5]:7.3f}")


def singer(mix_path, vocal_path):
    mix, vocal = read_audio(mix_path), read_audio(vocal_path)
    started = time.perf_counter()
    heard = find_voice(mix)
    took = time.perf_counter() - started
    times = np.arange(0.0, min(mix.duration_s, vocal.duration_s), 0.01)
    found, truth = (_inside(times, spans) for spans in (heard, find_voice(mix, vocal=vocal)))
    hits = float(np.sum(found & truth))
    f = 2.0 * hits / max(1.0, float(found.sum() + truth.sum()))
    print(f"singer: frame accuracy {np.mean(found == truth):.3f}, F {f:.3f}, {took:.1f} s for {mix.duration_s:.0f} s")


def _inside(times, spans):
    return np.any([(times >= s.start_s) & (times < s.end_s) for s in spans] or [times < 0.0], axis=0)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--voice", nargs=2, type=Path, metavar=("MIX", "VOCAL"))
    parser.add_argument("--each", type=int, default=3, help="bands for each sound")
    options = parser.parse_args()
    bands(options.each)
    if options.voice:
        singer(*options.voice)


if __name__ == "__main__":
    main()
