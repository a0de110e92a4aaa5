"""Passages that are awkward under the fingers, on the lip or across the strings, and notes that are weak.

Cautions, each by one rule that can be told: too many notes a second; the clarinet's break; the saxophone's little
finger; wide leaps on brass without a change of valves; long ways of the slide; strings passed over. All are common
practice from memory, without a source. The valves of a pitch follow from the harmonic series: the fewest semitones by
which one of the series' tones must be lowered.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument, pitch_text
from obbligato.music.line import Note
from obbligato.music.remarks import Remark, bar_of, bars_text

QUICK_S = 0.2
"""From one start to the next, seconds: a sixteenth at 75, an eighth at 150."""
_RUN = 8
_NOTES_A_SECOND = {"brass": 9.0, "woodwind": 12.0, "strings": 11.0, "plucked": 11.0, "voice": 8.0}
_SLOWER = {"Trombone": 7.0, "Tuba": 7.0, "Double Bass": 8.0, "Contrabassoon": 7.0}
_BREAK = 71
"""The clarinet's lowest written note above the break, B4."""
_LITTLE_FINGER = (58, 59, 61)
_SERIES = (60, 67, 72, 76, 79, 84)
"""Written open notes of a treble-clef valve brass instrument, without the flat seventh partial."""
_SLIDE_SERIES = (46, 53, 58, 62, 65, 70)
_LIP_LEAP, _SLIDE_WAY = 7, 4
_STRING_LEAP = {"Violin": 14, "Viola": 14, "Cello": 14, "Double Bass": 10}
_LONG_BEATS = 1.0

_Awkward = Callable[[int, int], bool]


def finger_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    """What is awkward at the speed it is written, one remark for each rule."""
    starts_s = [float(s) for s in grid.beat_to_sec([note.onset_beat for note in notes])]
    return [*_fast_runs(notes, starts_s, grid, instrument), *_quick_steps(notes, starts_s, grid, instrument)]


def weak_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    """Notes of a beat or more on pitches that are weak on the instrument."""
    remarks = []
    for weak in instrument.weak:
        low, high = instrument.to_sounding(weak.low), instrument.to_sounding(weak.high)
        found = [n for n in notes if low <= n.pitch <= high and n.duration_beats >= _LONG_BEATS]
        if found:
            bars = [bar_of(grid, note.onset_beat) for note in found]
            names = ", ".join(pitch_text(p) for p in sorted({instrument.to_written(n.pitch) for n in found}))
            sentence = f"{bars_text(bars).capitalize()}: written {names} on {instrument.name}: {weak.why}."
            remarks.append(Remark("weak", "note", min(bars), max(bars), sentence, {"notes": float(len(found))}))
    return remarks


def valves(written: int, series: Sequence[int] = _SERIES) -> int | None:
    """Semitones by which valves or slide lower the nearest open note above; None where seven are not enough.

    >>> valves(67), valves(66), valves(61)
    (0, 1, 6)
    """
    return next((lowered for lowered in range(7) if written + lowered in series), None)


def _fast_runs(notes: Sequence[Note], starts_s: Sequence[float], grid: Grid, instrument: Instrument) -> list[Remark]:
    """Stretches of `_RUN` notes and more that are faster than the instrument likes."""
    slower = next((speed for name, speed in _SLOWER.items() if name in instrument.name), None)
    most = slower or _NOTES_A_SECOND[instrument.family]
    fast = [
        i for i in range(len(notes) - _RUN + 1) if (_RUN - 1) / max(starts_s[i + _RUN - 1] - starts_s[i], 1e-6) > most
    ]
    if not fast:
        return []
    bars = [bar_of(grid, notes[i + k].onset_beat) for i in fast for k in range(_RUN)]
    quickest = max((_RUN - 1) / (starts_s[i + _RUN - 1] - starts_s[i]) for i in fast)
    sentence = (
        f"{bars_text(bars).capitalize()}: up to {quickest:.1f} notes a second; over {most:g} is fast for "
        f"{instrument.name}, so try it, slur it, or leave notes out."
    )
    return [Remark("fingers", "look", min(bars), max(bars), sentence, {"notes_a_second": quickest})]


def _quick_steps(
    notes: Sequence[Note], starts_s: Sequence[float], grid: Grid, instrument: Instrument
) -> list[Remark]:
    remarks = []
    quick = [i for i, (a, b) in enumerate(pairwise(starts_s)) if b - a < QUICK_S]
    for awkward, why in _rules(instrument):
        found = [i for i in quick if awkward(*(instrument.to_written(n.pitch) for n in notes[i : i + 2]))]
        if found:
            bars = [bar_of(grid, notes[i + 1].onset_beat) for i in found]
            times = "once" if len(found) == 1 else f"{len(found)} times"
            sentence = f"{bars_text(bars).capitalize()}: {times} {why}; slow it, turn it round, or try it first."
            remarks.append(Remark("fingers", "look", min(bars), max(bars), sentence, {"times": float(len(found))}))
    return remarks


def _rules(instrument: Instrument) -> list[tuple[_Awkward, str]]:
    """What is awkward between two written pitches in quick succession."""
    name = instrument.name
    if "Clarinet" in name or "Basset" in name:
        return [(_over_the_break, "quickly over the break between written Bb4 and B4")]
    if "Sax" in name:
        return [(_little_finger, "quickly between low notes that one little finger plays")]
    if name in ("Trombone", "Treble-Clef Trombone in Bb"):
        series = _SLIDE_SERIES if instrument.clef == "bass" else tuple(pitch + 14 for pitch in _SLIDE_SERIES)
        return [(lambda a, b: _way(a, b, series) >= _SLIDE_WAY, "a long way of the slide in a short time")]
    if instrument.family == "brass" and instrument.clef == "treble" and "Horn in F" not in name:
        return [(_by_lip_alone, "a wide leap in a short time on the same valves, by the lip alone")]
    if name in _STRING_LEAP:
        widest = _STRING_LEAP[name]
        return [(lambda a, b: abs(a - b) > widest, "a string passed over in a short time")]
    return []


def _over_the_break(a: int, b: int) -> bool:
    return (a < _BREAK) != (b < _BREAK)


def _little_finger(a: int, b: int) -> bool:
    return a != b and a in _LITTLE_FINGER and b in _LITTLE_FINGER


def _by_lip_alone(a: int, b: int) -> bool:
    return abs(a - b) >= _LIP_LEAP and valves(a) is not None and valves(a) == valves(b)


def _way(a: int, b: int, series: Sequence[int]) -> int:
    positions = valves(a, series), valves(b, series)
    return 0 if positions[0] is None or positions[1] is None else abs(positions[0] - positions[1])
