"""Breath as a tank that drains while the player blows and refills in the rests.

A phrase that is possible alone can fail after others that left too little time to breathe in. One tank is the
instrument's comfortable phrase at mezzo-forte; players breathe again with about a third of their air left, so half a
tank more is there in need. It drains faster when playing loudly (fortissimo takes about twice the air) and, on brass,
towards the bottom of the range; a rest of a second fills it, a shorter one in proportion, and one under 0.3 s is no
breath. How loud a note is, its marks say, and where there are none, how it was played. A marked breath is taken even
where there is no rest: the note before it gives 0.3 s.
All of these are defaults of common practice without a source, to be set against the player.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from obbligato.music.breath_fixes import Stretch, breath_fixes
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument, pitch_text
from obbligato.music.line import Note
from obbligato.music.loudness import as_marked
from obbligato.music.remarks import Remark, bar_of, place_text

SHORTEST_BREATH_S = 0.3
FULL_BREATH_S = 1.0
RESERVE = 0.5
"""Air beyond the comfortable phrase, in tanks."""
_MF_VELOCITY, _FF_VELOCITY = 80, 112
_FLOW_LIMITS = (0.5, 2.5)
_LOW_REGISTER = 0.25
_ROUNDING_S = 1e-6


@dataclass(frozen=True)
class TankReading:
    """The tank around one note: what is left when the note ends, and how much of a full breath came before it."""

    note: int
    left: float
    breathed: float


def flow(note: Note, instrument: Instrument) -> float:
    """Air used a second against mezzo-forte in the middle of the range.

    Two to the power of how far the velocity lies above mezzo-forte on the way to fortissimo; on brass a quarter more
    at the lowest note.
    """
    loudness = float(2.0 ** ((note.velocity - _MF_VELOCITY) / (_FF_VELOCITY - _MF_VELOCITY)))
    loudness = min(max(loudness, _FLOW_LIMITS[0]), _FLOW_LIMITS[1])
    if instrument.family != "brass":
        return loudness
    middle = (instrument.low + instrument.high) / 2
    depth = (middle - instrument.to_written(note.pitch)) / (middle - instrument.low)
    return loudness * (1.0 + _LOW_REGISTER * min(max(depth, 0.0), 1.0))


def read_tank(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> tuple[TankReading, ...]:
    """The tank at the end of every note, 1.0 being full; below 0.0 the reserve is drawn on.

    Empty for an instrument that needs no breath.
    """
    if instrument.breath_s is None:
        return ()
    starts_s = grid.beat_to_sec([n.onset_beat for n in notes])
    ends_s = grid.beat_to_sec([n.end_beat for n in notes])
    notes = as_marked(notes)
    for index, note in enumerate(notes[:-1]):
        if note.marks.breath:
            ends_s[index] = _end_before_breath_s(starts_s[index], ends_s[index], starts_s[index + 1])
    readings = []
    left = 1.0
    for index, note in enumerate(notes):
        rest_s = float(starts_s[index] - ends_s[index - 1]) if index else FULL_BREATH_S
        breathed = min(rest_s / FULL_BREATH_S, 1.0) if rest_s >= SHORTEST_BREATH_S else 0.0
        if breathed:
            left = min(1.0, max(left, -RESERVE) + breathed * (1.0 + RESERVE))
        left -= float(ends_s[index] - starts_s[index]) * flow(note, instrument) / instrument.breath_s
        readings.append(TankReading(index, left, breathed))
    return tuple(readings)


def _end_before_breath_s(start_s: float, end_s: float, next_s: float) -> float:
    """Where a note ends for a breath marked after it: soon enough for a snatched one, but half of it is played."""
    return min(end_s, max(next_s - SHORTEST_BREATH_S - _ROUNDING_S, (start_s + end_s) / 2))


def breath_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    """Where the breath runs out or is not comfortable, one remark for each stretch between breaths."""
    notes = as_marked(notes)
    readings = read_tank(notes, grid, instrument)
    remarks = []
    first = 0
    for index, reading in enumerate(readings):
        if reading.breathed:
            first = index
        last_of_stretch = index + 1 == len(readings) or readings[index + 1].breathed > 0.0
        if last_of_stretch and reading.left < 0.0:
            remarks.append(_remark(notes, readings, first, index, grid, instrument=instrument))
    return remarks


def _remark(
    notes: Sequence[Note],
    readings: Sequence[TankReading],
    first: int,
    last: int,
    grid: Grid,
    *,
    instrument: Instrument,
) -> Remark:
    start_s, end_s = grid.beat_to_sec([notes[first].onset_beat, notes[last].end_beat])
    left = readings[last].left
    serious = left < -RESERVE
    limit = -RESERVE if serious else 0.0
    fails = next(i for i in range(first, last + 1) if readings[i].left < limit)
    where = f"From {place_text(grid, notes[first].onset_beat)}: {float(end_s - start_s):.1f} s without a breath"
    cause = " after a short one" if readings[first].breathed < 1.0 else ""
    begin, end = _between_full_breaths(readings, first, last)
    fixes = breath_fixes(
        notes[begin:end],
        grid,
        lambda line: [reading.left for reading in read_tank(line, grid, instrument)],
        Stretch(first - begin, last - begin, limit),
    )
    ways = " or ".join(fix.words for fix in fixes) or "rest before it, or split it between two players"
    if serious:
        name = pitch_text(instrument.to_written(notes[fails].pitch))
        runs_out = f"the air runs out on the written {name} of {place_text(grid, notes[fails].onset_beat)}"
        sentence = f"{where}{cause}; {runs_out}: {ways}."
    else:
        sentence = f"{where}{cause}, longer than is comfortable; if it is too long, {ways}."
    return Remark(
        "breath",
        "stop" if serious else "look",
        bar_of(grid, notes[first].onset_beat),
        bar_of(grid, notes[last].onset_beat),
        sentence,
        {"length_s": float(end_s - start_s), "tank_left": left, "breathed_before": readings[first].breathed},
        note=fails,
        fixes=fixes,
    )


def _between_full_breaths(readings: Sequence[TankReading], first: int, last: int) -> tuple[int, int]:
    """The notes around a stretch up to a full breath on either side, past which nothing in it matters."""
    begin = next((i for i in range(first, -1, -1) if readings[i].breathed == 1.0), 0)
    end = next((i for i in range(last + 1, len(readings)) if readings[i].breathed == 1.0), len(readings))
    return begin, end
