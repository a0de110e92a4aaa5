"""Grooves: a bar of drums, bass and chords for each style; written apart from those of `bench/band.py`."""

from __future__ import annotations

from dataclasses import dataclass

KICK, RIM, SNARE, CLAP, CLOSED, PEDAL, OPEN, RIDE, CRASH = 36, 37, 38, 39, 42, 44, 46, 51, 49
SHAKER, CONGA_LOW, CONGA_HIGH, CLAVE, TAMBOURINE, BRUSH, COWBELL = 70, 64, 62, 75, 54, 40, 56
T = 1.0 / 3.0


@dataclass(frozen=True)
class Groove:
    """One bar: strokes (beat, key, velocity); bass and chord strokes (beat, length); bass degrees 0 root, 1 fifth.

    `parts` is into how many the singer divides a beat (2, or 3 where it is in triplets); `strum_s` spreads a chord.
    `spread` plays its notes one after the other.
    """

    per_bar: int
    unit: str
    drums: tuple[tuple[float, int, int], ...]
    bass: tuple[tuple[float, float, int], ...]
    comp: tuple[tuple[float, float], ...]
    parts: int = 2
    strum_s: float = 0.0
    spread: bool = False


def _row(key: int, *strokes: tuple[float, int]) -> tuple[tuple[float, int, int], ...]:
    return tuple((b, key, v) for b, v in strokes)


def _even(key: int, step: float, end: float, loud: int, soft: int, *, start: float = 0.0):
    n = round((end - start) / step)
    at = [start + i * step for i in range(n)]
    return tuple((b, key, loud if abs(b - round(b)) < 1e-6 else soft) for b in at)


GROOVES: dict[str, Groove] = {
    "pop band": Groove(
        4,
        "quarter",
        _row(KICK, (0, 110), (1.5, 80), (2.5, 100)) + _row(SNARE, (1, 108), (3, 110)) + _even(CLOSED, 0.5, 4, 76, 60),
        ((0, 1.4, 0), (1.5, 0.9, 0), (2.5, 0.9, 0), (3.5, 0.45, 1)),
        ((0, 1.9), (2, 1.9)),
    ),
    "soul": Groove(
        4,
        "quarter",
        _row(KICK, (0, 105), (2, 100), (2.75, 80))
        + _row(SNARE, (1, 104), (3, 106), (3.75, 35))
        + _even(CLOSED, 0.25, 4, 72, 44),
        ((0, 0.7, 0), (0.75, 0.2, 0), (1.5, 0.4, 1), (2, 0.7, 0), (3.25, 0.3, 1), (3.5, 0.4, 0)),
        ((0.5, 0.4), (1.5, 0.4), (2.5, 0.4), (3.5, 0.4)),
    ),
    "acoustic": Groove(
        4,
        "quarter",
        _even(SHAKER, 0.5, 4, 55, 40) + _row(RIM, (1, 60), (3, 62)),
        ((0, 1.8, 0), (2, 1.8, 1)),
        ((0, 0.9), (1, 0.45), (1.5, 0.9), (2.5, 0.45), (3, 0.9)),
        strum_s=0.012,
    ),
    "bare ballad": Groove(4, "quarter", (), ((0, 3.8, 0),), tuple((b / 2, 0.9) for b in range(8)), spread=True),
    "pads": Groove(4, "quarter", (), ((0, 1.9, 0), (2, 1.9, 1)), ((0, 3.9),)),
    "dance": Groove(
        4,
        "quarter",
        _even(KICK, 1, 4, 115, 115)
        + _row(CLAP, (1, 96), (3, 96))
        + _even(OPEN, 1, 4, 84, 84, start=0.5)
        + _even(CLOSED, 0.25, 4, 44, 40),
        (*((b + 0.5, 0.4, 0) for b in range(4)), (3.75, 0.2, 1)),
        ((0, 0.4), (0.75, 0.4), (1.5, 0.4), (2.5, 0.4), (3.25, 0.4)),
    ),
    "break": Groove(
        4,
        "quarter",
        _row(KICK, (0, 112), (0.5, 90), (2.5, 104))
        + _row(SNARE, (1, 112), (1.75, 50), (2.25, 50), (3, 112), (3.75, 60))
        + _even(RIDE, 0.5, 4, 78, 58),
        ((0, 1.4, 0), (1.5, 1, 1), (2.5, 1.4, 0)),
        ((0, 3.5),),
    ),
    "swing": Groove(
        4,
        "quarter",
        _row(RIDE, (0, 86), (1, 98), (1 + 2 * T, 70), (2, 86), (3, 98), (3 + 2 * T, 70))
        + _row(PEDAL, (1, 78), (3, 78))
        + _row(BRUSH, (3 + 2 * T, 34)),
        ((0, 0.95, 0), (1, 0.95, 2), (2, 0.95, 1), (3, 0.95, 2)),
        ((2 * T, 0.3), (2 + 2 * T, 1.0)),
        parts=3,
    ),
    "shuffle": Groove(
        4,
        "quarter",
        _row(KICK, (0, 108), (2, 104), (2 + 2 * T, 70))
        + _row(SNARE, (1, 108), (3, 110))
        + tuple((b + k * 2 * T, CLOSED, 76 - 20 * k) for b in range(4) for k in (0, 1)),
        tuple((b + k * 2 * T, 0.3, b % 2) for b in range(4) for k in (0, 1)),
        tuple((b + k * 2 * T, 0.28) for b in range(4) for k in (0, 1)),
        parts=3,
    ),
    "son": Groove(
        4,
        "quarter",
        _row(CLAVE, (0, 90), (0.75, 88), (1.5, 90), (2.5, 88), (3, 90))
        + _row(CONGA_HIGH, (0.5, 60), (1, 74), (2.5, 60), (3, 56))
        + _row(CONGA_LOW, (1.5, 70), (3.5, 84), (3.75, 74))
        + _even(SHAKER, 0.5, 4, 62, 46)
        + _row(KICK, (0, 60)),
        ((0, 1.4, 0), (1.5, 1.4, 1), (3, 0.9, 0)),
        ((0, 0.4), (1, 0.4), (1.5, 0.4), (2.5, 0.4), (3, 0.4), (3.5, 0.4)),
    ),
    "bossa": Groove(
        4,
        "quarter",
        _row(RIM, (0, 74), (1.5, 76), (3, 74))
        + _even(CLOSED, 0.5, 4, 52, 40)
        + _row(KICK, (0, 62), (2, 66), (1.5, 40)),
        ((0, 1.4, 0), (1.5, 0.45, 1), (2, 1.4, 1), (3.5, 0.45, 0)),
        ((0, 0.9), (1, 0.45), (2.5, 0.9), (3.5, 0.4)),
    ),
    "country": Groove(
        4,
        "quarter",
        _row(KICK, (0, 100), (2, 100)) + _row(SNARE, (1, 92), (3, 94)) + _even(BRUSH, 0.5, 4, 44, 34),
        ((0, 0.9, 0), (2, 0.9, 1)),
        ((1, 0.4), (3, 0.4)),
        strum_s=0.01,
    ),
    "march": Groove(
        2,
        "quarter",
        _row(KICK, (0, 104)) + _row(SNARE, (0.5, 60), (1, 96), (1.5, 74), (1.75, 60)),
        ((0, 0.8, 0), (1, 0.8, 1)),
        ((0.5, 0.4), (1.5, 0.4)),
    ),
    "waltz": Groove(
        3,
        "quarter",
        _row(KICK, (0, 96)) + _row(SNARE, (1, 58), (2, 60)) + _even(CLOSED, 1, 3, 60, 60),
        ((0, 2.8, 0),),
        ((1, 0.8), (2, 0.8)),
    ),
    "slow three": Groove(3, "quarter", (), ((0, 2.9, 0),), tuple((b / 2, 0.9) for b in range(6)), spread=True),
    "six": Groove(
        2,
        "dotted quarter",
        _row(KICK, (0, 104)) + _row(SNARE, (1, 100)) + _even(CLOSED, T, 2, 74, 52),
        ((0, 0.6, 0), (2 * T, 0.3, 0), (1, 0.9, 1)),
        tuple((b * T, 0.3) for b in range(6)),
        parts=3,
        spread=True,
    ),
    "jig": Groove(
        2,
        "dotted quarter",
        _row(KICK, (0, 96), (1, 84)) + _row(TAMBOURINE, (2 * T, 60), (1 + 2 * T, 64)),
        ((0, 0.6, 0), (1, 0.6, 1)),
        ((0, 0.3), (2 * T, 0.3), (1, 0.3), (1 + 2 * T, 0.3)),
        parts=3,
        strum_s=0.01,
    ),
    "twelve": Groove(
        4,
        "dotted quarter",
        _row(KICK, (0, 104), (1 + 2 * T, 66), (2, 98))
        + _row(SNARE, (1, 100), (3, 102))
        + _even(CLOSED, T, 4, 72, 52),
        ((0, 1.6, 0), (1 + 2 * T, 0.3, 0), (2, 1.6, 1)),
        tuple((b * T, 0.3) for b in range(12)),
        parts=3,
        spread=True,
    ),
    "five": Groove(
        5,
        "quarter",
        _row(RIDE, (0, 90), (1, 74), (1.5, 58), (2, 74), (3, 88), (4, 74), (4.5, 58))
        + _row(KICK, (0, 104), (1.5, 66), (3, 94))
        + _row(SNARE, (2, 76), (4, 84)),
        ((0, 1.4, 0), (1.5, 1.4, 1), (3, 0.95, 0), (4, 0.95, 1)),
        ((0, 1.4), (1.5, 1.4), (3, 0.9), (4, 0.9)),
    ),
}
