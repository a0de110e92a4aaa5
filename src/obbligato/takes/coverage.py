"""Whether one can pack up: how many faultless versions there are of everything."""

from __future__ import annotations

from collections.abc import Sequence

from obbligato.music.grid import Grid
from obbligato.takes.readings import TakeReading, TimedLine
from obbligato.takes.verdict import place_words

ENOUGH = 2


def coverage(line: TimedLine, readings: Sequence[TakeReading], *, grid: Grid | None = None) -> str:
    """What has too few faultless versions, as a sentence: by bars, or by phrases where there is no grid."""
    usable = [sum(not take.phrases[p.index].flags for take in readings) for p in line.phrases]
    if grid is None:
        short = [(p, usable[p.index]) for p in line.phrases if usable[p.index] < ENOUGH]
        places = [
            (place_words(line.notes[p.first_note].start_s, line.notes[p.last_note].end_s, None), n) for p, n in short
        ]
        every, whole = "Every phrase has two or more usable versions", len(short) == len(line.phrases)
    else:
        bars = _versions_by_bar(line, usable, grid)
        short_bars = [(bar, n) for bar, n in bars.items() if n < ENOUGH]
        places = _runs(short_bars, list(bars))
        every, whole = "Every bar has two or more usable versions", len(short_bars) == len(bars)
    if not places:
        return f"{every}."
    words = [f"{place} ({'none' if n == 0 else 'one'})" for place, n in places]
    listed = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"Usable versions: {listed}." if whole else f"{every}, except {listed}."


def _versions_by_bar(line: TimedLine, usable: Sequence[int], grid: Grid) -> dict[int, int]:
    """By bar in which the line plays, the versions of that phrase in it which has fewest."""
    bars: dict[int, int] = {}
    for phrase in line.phrases:
        first_s, end_s = line.notes[phrase.first_note].start_s, line.notes[phrase.last_note].end_s
        first, last = grid.position_at(first_s).bar, grid.position_at(max(first_s, end_s - 0.02)).bar
        for bar in range(first, last + 1):
            bars[bar] = min(usable[phrase.index], bars.get(bar, usable[phrase.index]))
    return dict(sorted(bars.items()))


def _runs(short: Sequence[tuple[int, int]], played: Sequence[int]) -> list[tuple[str, int]]:
    """Neighbouring bars of as few versions together, as words; bars of rest between them do not part them."""
    runs: list[list[int]] = []
    for bar, n in short:
        place = played.index(bar)
        if runs and runs[-1][2] == n and place and played[place - 1] == runs[-1][1]:
            runs[-1][1] = bar
        else:
            runs.append([bar, bar, n])
    return [(f"bar {a}" if a == b else f"bars {a} to {b}", n) for a, b, n in runs]
