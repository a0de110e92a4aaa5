"""The air of a whole line as a picture: one curve over the bars, and the same in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from obbligato.music.breath import RESERVE, TankReading
from obbligato.music.grid import Grid
from obbligato.music.line import Note
from obbligato.music.remarks import bar_of, bars_text, place_text

_WIDTH, _HEIGHT, _LEFT, _TOP = 960.0, 150.0, 64.0, 12.0
_INK, _AIR, _BAD, _HAIR = "#221f1a", "#2f6b57", "#8f2a1d", "#b9ae98"
_MOST_NUMBERS = 24


def tank_svg(notes: Sequence[Note], readings: Sequence[TankReading], grid: Grid) -> str:
    """The tank from the first note to the last as an SVG document; full at the top, the reserve at the foot.

    `<title>` and `<desc>` hold `tank_words`. For an instrument that needs no breath (`readings` empty) the curve is
    left out and the words say so.
    """
    first_beat, last_beat = notes[0].onset_beat, max(note.end_beat for note in notes)

    def x(beat: float) -> float:
        return _LEFT + (beat - first_beat) / (last_beat - first_beat) * (_WIDTH - _LEFT - 8.0)

    def y(air: float) -> float:
        return _TOP + (1.0 - min(max(air, -RESERVE), 1.0)) / (1.0 + RESERVE) * _HEIGHT

    parts = [_scale(label, y(air)) for label, air in (("full", 1.0), ("used up", 0.0), ("empty", -RESERVE))]
    parts += _bar_lines(grid, first_beat, last_beat, x)
    parts += [_slope(x(n.onset_beat), y(b), x(n.end_beat), y(r.left), r.left) for n, r, b in _falls(notes, readings)]
    words = escape(tank_words(notes, readings, grid))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT + 44:.0f}" role="img" '
        f'font-family="serif" font-size="13" fill="{_INK}"><title>The breath, bar by bar</title><desc>{words}</desc>'
        f"{''.join(parts)}</svg>\n"
    )


def tank_words(notes: Sequence[Note], readings: Sequence[TankReading], grid: Grid) -> str:
    """The picture in words: where the air is lowest, where the reserve is drawn on, where it is gone."""
    if not readings:
        return "This instrument needs no breath."
    lowest = min(readings, key=lambda reading: reading.left)
    where = place_text(grid, notes[lowest.note].onset_beat)
    if lowest.left >= 0.0:
        left = f"{lowest.left:.0%} of a comfortable breath is left"
    else:
        left = f"{min(-lowest.left / RESERVE, 1.0):.0%} of the reserve is used"
    sentences = [f"The air is lowest after the note of {where}, where {left}."]
    for words, low, high in (("The reserve is drawn on in", -RESERVE, 0.0), ("The air is gone in", -1e9, -RESERVE)):
        bars = [bar_of(grid, notes[r.note].onset_beat) for r in readings if low <= r.left < high]
        if bars:
            sentences.append(f"{words} {bars_text(bars)}.")
    return " ".join(sentences)


def _falls(notes: Sequence[Note], readings: Sequence[TankReading]) -> list[tuple[Note, TankReading, float]]:
    """Every note with its reading and what is there when it begins."""
    falls = []
    left = 1.0
    for note, reading in zip(notes, readings, strict=False):
        before = min(1.0, max(left, -RESERVE) + reading.breathed * (1.0 + RESERVE)) if reading.breathed else left
        falls.append((note, reading, before))
        left = reading.left
    return falls


def _scale(label: str, y: float) -> str:
    return (
        f'<text x="{_LEFT - 8:.0f}" y="{y + 4:.1f}" text-anchor="end">{label}</text>'
        f'<path d="M{_LEFT:.0f} {y:.1f} H{_WIDTH - 8:.0f}" stroke="{_HAIR}"/>'
    )


def _bar_lines(grid: Grid, first_beat: float, last_beat: float, x: Callable[[float], float]) -> list[str]:
    """Bar lines, with as many bar numbers as there is room for."""
    bars = range(grid.beat_to_position(first_beat).bar + 1, grid.beat_to_position(last_beat).bar + 1)
    every = max(1, -(-len(bars) // _MOST_NUMBERS))
    foot = _TOP + _HEIGHT
    lines = []
    for bar in bars:
        at = x(grid.bar_to_beat(bar, 1.0))
        lines.append(f'<path d="M{at:.1f} {_TOP:.0f} V{foot:.0f}" stroke="{_HAIR}" stroke-dasharray="2 3"/>')
        if bar % every == 0:
            lines.append(f'<text x="{at:.1f}" y="{foot + 18:.0f}" text-anchor="middle">{bar}</text>')
    return lines


def _slope(x0: float, y0: float, x1: float, y1: float, left: float) -> str:
    """The fall over one note; thicker and red once the comfortable breath is used up, dashed when the air is gone."""
    colour, width = (_AIR, 2.5) if left >= 0.0 else (_BAD, 4)
    dashes = ' stroke-dasharray="6 4"' if left < -RESERVE else ""
    look = f'stroke="{colour}" stroke-width="{width}" fill="none"{dashes}'
    return f'<path d="M{x0:.1f} {y0:.1f} L{x1:.1f} {y1:.1f}" {look}/>'
