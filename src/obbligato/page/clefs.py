"""Which clef a part is read in, bar by bar: a line that leaves the stave for long is read in the next clef.

Cellists, bassoonists and trombonists read a high passage in the tenor clef, viola players in the treble clef; nobody
wants a change for two notes. The choice is a shortest path over the bars: ledger lines cost, a clef that is not the
instrument's own costs a little, and so does each change, more so in the middle of playing than in a rest. Which
instruments read which clefs, and the weights, are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from obbligato.music.instruments import Clef, Instrument
from obbligato.music.spelling import Spelling
from obbligato.page.part_score import Part, ScoreBar

_READ: Mapping[str, tuple[Clef, ...]] = MappingProxyType(
    {
        "Cello": ("bass", "tenor", "treble"),
        "Double Bass": ("bass", "tenor", "treble"),
        "Bassoon": ("bass", "tenor"),
        "Trombone": ("bass", "tenor"),
        "Viola": ("alto", "treble"),
    }
)
"""The clefs that players of an instrument read, their own first; players of the others read one."""
_SCORE: tuple[Clef, ...] = ("treble", "bass")
"""In a concert score, where anyone reads along, one of these."""
_LOWEST_LINE: Mapping[Clef, tuple[str, int]] = MappingProxyType(
    {"treble": ("E", 4), "treble8vb": ("E", 4), "alto": ("F", 3), "tenor": ("D", 3), "bass": ("G", 2)}
)
_STEPS = "CDEFGAB"
_STRANGER = 1.5
_CHANGE_IN_A_REST, _CHANGE_WHILE_PLAYING = 14.0, 24.0


def clefs_read(instrument: Instrument, *, concert: bool) -> tuple[Clef, ...]:
    """The clefs a part may be written in, the instrument's own first."""
    if concert and instrument.name not in _READ and instrument.clef != "treble8vb":
        return (instrument.clef, *(clef for clef in _SCORE if clef != instrument.clef))
    return _READ.get(instrument.name, (instrument.clef,))


def ledger_lines(pitch: Spelling, clef: Clef) -> int:
    """How many ledger lines a written pitch needs in a clef.

    >>> ledger_lines(Spelling("C", 0, 4), "treble"), ledger_lines(Spelling("C", 0, 4), "tenor")
    (1, 0)
    """
    step, octave = _LOWEST_LINE[clef]
    above = 7 * (pitch.octave - octave) + _STEPS.index(pitch.step) - _STEPS.index(step)
    return max(0, -above // 2 if above < 0 else (above - 8) // 2)


def with_clefs(part: Part) -> Part:
    """The part with clef changes where they help, and the instrument in the clef that the page begins in."""
    read = clefs_read(part.instrument, concert=part.concert)
    if len(read) == 1:
        return part
    chosen = _cheapest(part.bars, read) if read == _READ.get(part.instrument.name) else _one(part.bars, read)
    before = chosen[0]
    bars = []
    for bar, clef in zip(part.bars, chosen, strict=True):
        bars.append(replace(bar, clef=clef) if clef != before else bar)
        before = clef
    return replace(part, instrument=replace(part.instrument, clef=chosen[0]), bars=tuple(bars))


def _one(bars: Sequence[ScoreBar], read: Sequence[Clef]) -> list[Clef]:
    """The one clef with the fewest ledger lines: a reader who only follows a score wants no changes."""
    clef = min(read, key=lambda one: sum(_cost(bar, one, read.index(one)) for bar in bars))
    return [clef] * len(bars)


def _cheapest(bars: Sequence[ScoreBar], read: Sequence[Clef]) -> list[Clef]:
    """A clef for each bar; it changes only where notes follow, so that a rest is left in the clef before it."""
    paths: dict[Clef, tuple[float, list[Clef]]] = {clef: (0.0, []) for clef in read}
    started, resting = False, True
    for bar in bars:
        if not bar.notes:
            paths = {clef: (cost, [*path, clef]) for clef, (cost, path) in paths.items()}
            resting = True
            continue
        change = 0.0 if not started else _CHANGE_IN_A_REST if resting else _CHANGE_WHILE_PLAYING
        longer = {}
        for clef in read:
            ways = [(paths[old][0] + (change if old != clef else 0.0), old != clef, old) for old in read]
            cost, _, before = min(ways)
            longer[clef] = (cost + _cost(bar, clef, read.index(clef)), [*paths[before][1], clef])
        paths = longer
        started, resting = True, bar.notes[-1].pitch is None
    return min(paths.values(), key=lambda path: path[0])[1]


def _cost(bar: ScoreBar, clef: Clef, strangeness: int) -> float:
    """Ledger lines weigh by their square; a note in the second clef of an instrument a little, in its third more."""
    pitches = [note.pitch for note in bar.notes if note.pitch is not None and not note.tied_from_before]
    return sum(ledger_lines(pitch, clef) ** 2 + _STRANGER * strangeness for pitch in pitches)
