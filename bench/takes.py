"""How well takes are placed and read, on invented lines and players, and on SoundFont instruments.

    python bench/takes.py [LINES]

Prints per timbre: faults planted and found, false flags per minute of take, error of the offset, error of note starts
and of cents; then pitch against librosa's pyin on the same tones; then SoundFont takes played to the letter, which
must come out without a flag. LINES (default 1) is how many lines are played per timbre.
"""

from __future__ import annotations

import io
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
import soundfile

from obbligato.music.grid import Grid, Meter
from obbligato.sound.audio import Audio
from obbligato.takes.hearing import to_analysis_rate
from obbligato.takes.pitch import ANALYSIS_SR, track_pitch
from obbligato.takes.read import read_takes
from obbligato.takes.readings import TimedLine
from players import TIMBRES, Playing, invent_line, play

PLANS = (
    ({"late_ms": {1: 118.0}, "flat_cents": {2: 30.0}, "wrong": {3: 2}, "missed": {4: 1}}, 0.0),
    ({"extra": {5: 1}, "clipped": (6,), "noise": (7,), "clicks": (8,), "level_db": {9: -7.0}}, 0.0),
    ({"dropout": (10,), "late_ms": {0: -90.0}, "flat_cents": {11: -28.0}}, 2.5),
    ({"missed": {0: 0}, "wrong": {6: 0}, "sr": 44100, "level_db": {3: -8.0}}, -1.25),
)
FLAG_OF = {
    "wrong": "wrong_note", "missed": "missed_note", "extra": "extra_note", "level_db": "level_drop",
    "clipped": "clipped", "noise": "noise", "clicks": "click_bleed", "dropout": "dropout",
}  # fmt: skip
PROGRAMS = {"trumpet": 56, "flute": 73, "clarinet": 71, "violin": 40, "tenor sax": 66, "cello": 42}


def planted(plan: dict[str, object]) -> dict[int, str]:
    flags: dict[int, str] = {}
    for name, value in plan.items():
        if isinstance(value, dict):
            for phrase, amount in value.items():
                if name == "late_ms":
                    flags[phrase] = "late" if amount > 0 else "early"
                elif name == "flat_cents":
                    flags[phrase] = "flat" if amount > 0 else "sharp"
                else:
                    flags[phrase] = FLAG_OF[name]
        elif isinstance(value, tuple):
            flags.update(dict.fromkeys(value, FLAG_OF[name]))
    return flags


def faults(n_lines: int) -> None:
    print("timbre    planted found  false/min  offset error ms  seconds per take minute  missed")
    for timbre in TIMBRES:
        count: Counter[str] = Counter()
        offsets, missed, minutes, spent = [], [], 0.0, 0.0
        for seed in range(n_lines):
            rng = np.random.default_rng(500 + seed)
            line = invent_line(rng, phrases=12)
            takes = [
                (f"{i}", play(line, Playing(timbre=timbre, offset_s=offset, **plan), rng))
                for i, (plan, offset) in enumerate(PLANS)
            ]
            minutes += sum(t.duration_s for _, t in takes) / 60
            start = time.perf_counter()
            read = read_takes(line, takes, grid=Grid.steady(100.0, 2.0, Meter()))
            spent += time.perf_counter() - start
            for take, (plan, offset) in zip(read, PLANS, strict=True):
                wanted = planted(plan)
                offsets.append(abs(take.reading.offset_ms - 1e3 * offset))
                for phrase in take.reading.phrases:
                    want = wanted.get(phrase.index)
                    count["planted"] += want is not None
                    count["found"] += want in phrase.flags
                    count["false"] += len(set(phrase.flags) - {want})
                    if want is not None and want not in phrase.flags:
                        missed.append(want)
        print(
            f"{timbre:9} {count['planted']:7} {count['found']:5} {count['false'] / minutes:10.2f} "
            f"{max(offsets):16.1f} {spent / minutes:24.2f}  {' '.join(missed)}"
        )


def against_pyin() -> None:
    import librosa

    print("\ncents error on humanised takes, median of |error| over notes: ours, pyin")
    for timbre in TIMBRES:
        rng = np.random.default_rng(9)
        line = invent_line(rng, phrases=2)
        how = Playing(timbre=timbre, scatter_ms=0.0, scatter_cents=0.0)
        y = to_analysis_rate(play(line, how, rng))
        ours = track_pitch(y, lowest_hz=150.0, highest_hz=900.0)
        start = time.perf_counter()
        hz, voiced, _ = librosa.pyin(
            y, fmin=150, fmax=900, sr=ANALYSIS_SR, frame_length=1024, hop_length=256, fill_na=0.0
        )
        pyin_s = time.perf_counter() - start
        errors = [_errors(line, ours.times_s, f0, v) for f0, v in ((ours.f0_hz, ours.voiced), (hz, voiced))]
        print(f"{timbre:9} {errors[0]:6.2f} {errors[1]:6.2f}   (pyin took {pyin_s:.1f} s)")


def _errors(line: TimedLine, times_s: np.ndarray, f0_hz: np.ndarray, voiced: np.ndarray) -> float:
    off = []
    for note in line.notes:
        n = min(len(times_s), len(f0_hz))
        inside = (times_s[:n] > note.start_s + 0.1) & (times_s[:n] < note.end_s - 0.05) & voiced[:n]
        if inside.sum() > 3:
            off.append(abs(1200 * np.log2(np.median(f0_hz[:n][inside]) / (440 * 2 ** ((note.midi - 69) / 12)))))
    return float(np.median(off))


def soundfont() -> None:
    import midirenderer
    import pretty_midi

    bank = (Path(pretty_midi.__file__).parent / "TimGM6mb.sf2").read_bytes()
    print("\nSoundFont takes as played by the file: notes not heard, flags, median and spread of starts (ms), cents")
    for name, program in PROGRAMS.items():
        rng = np.random.default_rng(21)
        line = invent_line(rng, phrases=8, lowest=58, highest=74)
        midi = pretty_midi.PrettyMIDI()
        part = pretty_midi.Instrument(program)
        late = rng.normal(0, 0.012, len(line.notes))
        for note, shift in zip(line.notes, late, strict=True):
            part.notes.append(pretty_midi.Note(90, note.midi, note.start_s + shift, note.end_s + shift))
        midi.instruments.append(part)
        file = io.BytesIO()
        midi.write(file)
        y, sr = soundfile.read(io.BytesIO(midirenderer.render_wave_from(bank, file.getvalue())), always_2d=True)
        reading = read_takes(line, [(name, Audio(y.T, sr))], grid=Grid.steady(100.0, 2.0, Meter()))[0].reading
        notes = [n for p in reading.phrases for n in p.notes]
        error = np.array([n.onset_ms - 1e3 * late[n.index] for n in notes if n.onset_ms is not None])
        flags = Counter(f for p in reading.phrases for f in p.flags)
        spread = 1.4826 * np.median(np.abs(error - np.median(error)))
        print(
            f"{name:10} {sum(not n.played for n in notes):3} of {len(notes)}  {dict(flags)}  "
            f"{np.median(error):6.1f} {spread:5.1f}  {reading.tuning_cents:6.1f}"
        )


if __name__ == "__main__":
    faults(int(sys.argv[1]) if len(sys.argv) > 1 else 1)
    against_pyin()
    soundfont()
