"""Tempo, metre, bar 1 and beats found in invented songs of many styles, beside librosa's beat tracker.

Beats are scored by mir_eval's F-measure (hit within 70 ms), from bar 1 on. Bar 1 is in milliseconds from the truth;
the bank's piano and strings speak 5 to 15 ms after the note begins. A dash means not to be had: librosa finds no bar.
Run it as: python bench/listen_tempo.py [STYLE ...]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import librosa
import mido
import mir_eval
import numpy as np

from band import STYLES, Song, play
from obbligato.demo.guide import render_guide
from obbligato.demo.score import SONG
from obbligato.listen.beats import GridFindings, find_grid
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio

RECORDED = Path("/usr/share/games/fretsonfire/data/songs/sectoid")
TEMPI = {
    "rock": (96.37, 150.0),
    "house": (124.0,),
    "ballad": (65.37, 78.0),
    "funk": (98.37,),
    "halftime": (70.0, 140.37),
    "punk": (190.0,),
    "swing": (132.37, 180.0),
    "shuffle": (84.37,),
    "bossa": (130.37,),
    "waltz": (92.0, 150.37),
    "three": (88.0,),
    "jig": (112.37,),
    "twelve": (54.0, 66.37),
    "piano": (72.0, 104.37),
    "strum": (118.0,),
    "piano waltz": (120.37,),
    "guitar six": (58.0,),
    "strings": (76.37,),
}
SECONDS = 150.0


def wandering(beat: float) -> float:
    """A band without a click: two slow waves of 2 and 1 per cent."""
    return float(1.0 + 0.02 * np.sin(beat / 25.0) + 0.01 * np.sin(beat / 9.0 + 1.0))


def songs():
    """Songs, every second with a count-in, every fourth with a pick-up, some of them wandering."""
    number = 0
    for style, tempi in TEMPI.items():
        for bpm in tempi:
            number += 1
            bars = round(SECONDS * bpm / 60.0 / STYLES[style].beats_per_bar)
            yield Song(
                style,
                bpm,
                bars=bars,
                count_in_bars=number % 2 * (1 + number // 2 % 2),
                pick_up_beats=1.0 if number % 4 == 1 else 0.0,
                head_s=0.2 + 0.31 * (number % 4),
                seed=100 + number,
            )
    for style in ("rock", "ballad", "piano", "twelve"):
        yield Song(style, 88.8, bars=40, count_in_bars=1, tempo=wandering, seed=77)


def row(name: str, audio: Audio, bpm: float, truth: tuple[int, str, float, np.ndarray] | None) -> str:
    """One line of the table."""
    started = time.perf_counter()
    found = find_grid(audio)
    took_s = time.perf_counter() - started
    theirs_bpm, theirs_s = librosa.beat.beat_track(y=audio.mono(), sr=audio.sr, units="time")
    their_bpm = float(np.ravel(theirs_bpm)[0])
    line = f"{name:24s} {bpm:8.3f} {found.tempo.bpm - bpm:+9.4f} {their_bpm - bpm:+8.2f}"
    if truth is None:
        return f"{line}     -     -        -  {_verdict(found)} {took_s:5.1f} s"
    per_bar, unit, bar_1_s, beats_s = truth
    ours = np.array([b for b in found.grid_finding.beats_s if b > beats_s[0] - 0.1])
    scores = [mir_eval.beat.f_measure(beats_s, est[est > beats_s[0] - 0.1]) for est in (ours, theirs_s)]
    right = (found.meter.beats_per_bar, found.meter.beat_unit) == (per_bar, unit)
    wrong = "" if right else "  metre wrong"
    bar_1_ms = (found.grid.bar_1_s - bar_1_s) * 1000.0
    return f"{line} {scores[0]:5.2f} {scores[1]:5.2f} {bar_1_ms:+8.1f}  {_verdict(found)} {took_s:5.1f} s{wrong}"


def _verdict(found: GridFindings) -> str:
    clicks = found.count_in.clicks if found.count_in else 0
    steady = "steady " if found.tempo.steady else "wanders"
    metre = f"{found.meter.beats_per_bar} {found.meter.beat_unit:14s}"
    return f"{metre} {clicks:2d} clicks {steady} {found.tempo.confidence:.2f}"


def main(styles: list[str]) -> None:
    """Print the table."""
    print(
        f"{'song':24s} {'bpm':>8s} {'ours':>9s} {'librosa':>8s}  F our  F lib    bar 1  metre, count-in, confidence"
    )
    for song in songs():
        if styles and song.style not in styles:
            continue
        meter = STYLES[song.style]
        beats_s = song.beat_times(np.arange(song.bars * meter.beats_per_bar, dtype=float))
        seconds = beats_s[-1] - beats_s[0]
        bpm = song.bpm if song.tempo is None else 60.0 * (beats_s.size - 1) / seconds
        name = song.style + (" wandering" if song.tempo else "")
        truth = (meter.beats_per_bar, meter.beat_unit, float(beats_s[0]), beats_s)
        print(row(name, play(song), bpm, truth), flush=True)
    if styles:
        return
    beats_s = SONG.grid.beat_to_sec(np.arange(SONG.end_beat))
    truth = (SONG.meter.beats_per_bar, SONG.meter.beat_unit, SONG.grid.bar_1_s, beats_s)
    print(row("the demo's song", render_guide(SONG, seed=1).audio, SONG.bpm, truth), flush=True)
    for folder in sorted(RECORDED.glob("*/")):
        tempo = next(m.tempo for m in mido.MidiFile(folder / "notes.mid").tracks[0] if m.type == "set_tempo")
        print(row(folder.name, read_audio(folder / "song.ogg"), mido.tempo2bpm(tempo), None), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
