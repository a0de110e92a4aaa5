"""What a line costs the lip and the bow, against what there is.

Lip: seconds of playing, weighted by register (one in the lower half of the safe range, two at the top of what a
strong player has) and loudness (half as much again at fortissimo), against the rest in the same two minutes; what
lies before and after the line is rest. One to one is comfortable for high brass, two to one for lower brass. Bow: a
full one lasts 4 to 6 s at mezzo-forte and half of that at fortissimo. Common practice, no source; the weights are
this program's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument
from obbligato.music.line import Note
from obbligato.music.marks import LEVELS
from obbligato.music.remarks import Fix, Remark, bar_of, edit_place, place_text

WINDOW_S = 120.0
_LOUD_STEP = LEVELS["ff"] - LEVELS["mf"]
_FF_WEIGHT = 1.5
_TOP_WEIGHT = 2.0
_BOW_AT_FF = 2.0


@dataclass(frozen=True)
class Budget:
    """One budget of a line: `used` of `allowed`, and a sentence with the place where most is used.

    Lip: weighted seconds of playing in the hardest two minutes, against what its rest allows. Bow: bows that the
    longest note takes, against one.
    """

    kind: Literal["lip", "bow"]
    used: float
    allowed: float
    first_bar: int
    last_bar: int
    sentence: str

    @property
    def over(self) -> bool:
        """Whether more is used than there is."""
        return self.used > self.allowed


def lip_load_s(note: Note, length_s: float, instrument: Instrument) -> float:
    """Seconds that a note counts for the lip."""
    middle = (instrument.comfortable_low + instrument.comfortable_high) / 2
    height = (instrument.to_written(note.pitch) - middle) / max(instrument.strong_high - middle, 1.0)
    register = 1.0 + (_TOP_WEIGHT - 1.0) * max(height, 0.0)
    loudness = _FF_WEIGHT ** ((note.velocity - LEVELS["mf"]) / _LOUD_STEP)
    return float(length_s * register * loudness)


def bows(note: Note, length_s: float, instrument: Instrument) -> float:
    """Full bows that a note takes; 0 where there is no bow."""
    if instrument.bow_s is None:
        return 0.0
    return float(length_s / instrument.bow_s * _BOW_AT_FF ** ((note.velocity - LEVELS["mf"]) / _LOUD_STEP))


def budgets(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> tuple[Budget, ...]:
    """What the line uses of the lip or the bow; empty for an instrument that has neither limit."""
    times_s = np.asarray(grid.beat_to_sec([(n.onset_beat, n.end_beat) for n in notes]))
    if instrument.play_to_rest is not None:
        return (_lip(notes, times_s, grid, instrument, instrument.play_to_rest),)
    return (_bow(notes, times_s, grid, instrument),) if instrument.bow_s is not None else ()


def stamina_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    """Two minutes that leave the lip too little rest; notes longer than a bow, each with what passes."""
    remarks = [
        Remark("lip", "look", b.first_bar, b.last_bar, b.sentence, {"load_s": b.used, "allowed_s": b.allowed})
        for b in budgets(notes, grid, instrument)
        if b.kind == "lip" and b.over
    ]
    for index, note in enumerate(notes):
        start_s, end_s = grid.beat_to_sec([note.onset_beat, note.end_beat])
        length_s = float(end_s - start_s)
        taken = bows(note, length_s, instrument)
        if taken > 1.0:
            remarks.append(_bow_remark(index, note, length_s, taken, grid, instrument=instrument))
    return remarks


def _lip(
    notes: Sequence[Note], times_s: NDArray[np.float64], grid: Grid, instrument: Instrument, ratio: float
) -> Budget:
    """The window of two minutes that leaves least over; every window that begins with a note is tried."""
    lengths_s = times_s[:, 1] - times_s[:, 0]
    weights = np.asarray([lip_load_s(note, 1.0, instrument) for note in notes])
    hardest = (-np.inf, 0, 0.0, 0.0)
    for first, start_s in enumerate(times_s[:, 0]):
        sounding_s = np.clip(np.minimum(times_s[:, 1], start_s + WINDOW_S) - times_s[:, 0], 0.0, lengths_s)
        sounding_s[:first] = 0.0
        load_s, rest_s = float(sounding_s @ weights), WINDOW_S - float(sounding_s.sum())
        hardest = max(hardest, (load_s - ratio * rest_s, first, load_s, rest_s))
    _, first, load_s, rest_s = hardest
    inside = [i for i in range(first, len(notes)) if times_s[i, 0] < times_s[first, 0] + WINDOW_S]
    allowed_s = ratio * rest_s
    place = place_text(grid, notes[first].onset_beat)
    sentence = (
        f"Lip: in the two minutes from {place} the playing counts {load_s:.0f} s by register and loudness, and the "
        f"{rest_s:.0f} s of rest allow {allowed_s:.0f} s"
    )
    more = "; leave something out there, take it lower or softer, or record it in two sittings"
    over = load_s > allowed_s
    bars = bar_of(grid, notes[first].onset_beat), bar_of(grid, notes[inside[-1]].onset_beat)
    return Budget("lip", load_s, allowed_s, *bars, f"{sentence}{more if over else ''}.")


def _bow(notes: Sequence[Note], times_s: NDArray[np.float64], grid: Grid, instrument: Instrument) -> Budget:
    taken = [bows(note, float(b - a), instrument) for note, (a, b) in zip(notes, times_s, strict=True)]
    longest = max(range(len(notes)), key=lambda i: taken[i])
    bar = bar_of(grid, notes[longest].onset_beat)
    over = sum(one > 1.0 for one in taken)
    sentence = (
        f"Bow: {over} of {len(notes)} notes last longer than one bow; the longest, at "
        f"{place_text(grid, notes[longest].onset_beat)}, takes {taken[longest]:.1f}."
    )
    return Budget("bow", taken[longest], 1.0, bar, bar, sentence)


def _bow_remark(
    index: int, note: Note, length_s: float, taken: float, grid: Grid, *, instrument: Instrument
) -> Remark:
    """A note longer than a bow: where to change, and the loudest marking at which one bow is enough."""
    changes = int(np.ceil(taken)) - 1
    beats = [note.onset_beat + note.duration_beats * (k + 1) / (changes + 1) for k in range(changes)]
    where = " and ".join(place_text(grid, round(beat)) for beat in beats)
    ways = f"change the bow at {where}" if changes <= 2 else f"change the bow {changes} times, at places you choose"
    softer = next((m for m in ("f", "mf", "mp", "p") if _one_bow(note, LEVELS[m], length_s, instrument)), None)
    fixes: tuple[Fix, ...] = ()
    if softer is not None:
        fixes = (Fix(f"play it {softer}", f"dynamics {edit_place(grid, note.onset_beat)[0]} {softer}"),)
        ways += f" or play it {softer}"
    bar = bar_of(grid, note.onset_beat)
    place = place_text(grid, note.onset_beat).capitalize()
    sentence = f"{place}: {length_s:.1f} s on one note takes {taken:.1f} bows; {ways}."
    return Remark("bow", "look", bar, bar, sentence, {"length_s": length_s, "bows": taken}, note=index, fixes=fixes)


def _one_bow(note: Note, velocity: int, length_s: float, instrument: Instrument) -> bool:
    return velocity < note.velocity and bows(replace(note, velocity=velocity), length_s, instrument) <= 1.0
