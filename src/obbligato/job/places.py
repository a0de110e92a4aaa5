"""Places in the song as a player writes them: clock times, bars and beats, and what is said of them."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import NamedTuple

from obbligato.errors import InputError

_FURTHEST_BAR = 100_000
_LONGEST_TAPS = 1_000_000


class Place(NamedTuple):
    """A bar and a beat in it, both counted from 1; no beat is the whole bar."""

    bar: int
    beat: float | None


class Stretch(NamedTuple):
    """From one place to another, both included."""

    first: Place
    last: Place


def parse_clock(text: str) -> float:
    """Seconds from `4.25`, `0:04.25` or `1:02:03.5`; a decimal comma is understood.

    >>> parse_clock("1:07,5")
    67.5
    """
    if not re.fullmatch(r"(\d+:){0,2}\d+([.,]\d+)?", text.strip()):
        raise InputError(f"'{text}' is not a time; write seconds (4.25) or a clock time (0:04.25).")
    seconds = 0.0
    parts = text.strip().replace(",", ".").split(":")
    if any(float(part) >= 60.0 for part in parts[1:]):
        raise InputError(f"'{text}' is not a time; after a colon stand minutes or seconds below 60 (0:04.25).")
    for part in parts:
        seconds = seconds * 60.0 + float(part)
    return seconds


def parse_taps(text: str) -> tuple[float, ...]:
    """Times of taps, parted by spaces or semicolons.

    >>> parse_taps("0:04.25 4.75 5.25")
    (4.25, 4.75, 5.25)
    """
    return tuple(parse_clock(piece) for piece in re.split(r"[\s;]+", text.strip()) if piece)


def read_taps(name: str) -> tuple[float, ...]:
    """Times of taps from a text file, or from standard input for `-`; a time a line, or parted by spaces.

    Raises
    ------
    InputError
        When the file cannot be read as text, is far too long, or holds something else than times.
    """
    try:
        data = sys.stdin.buffer.read(_LONGEST_TAPS + 1) if name == "-" else _file_start(Path(name))
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"'{name}' is not a text file; write a time in seconds on each line.") from None
    if len(data) > _LONGEST_TAPS:
        raise InputError(f"'{name}' is too long for a list of taps; write a time in seconds on each line.")
    taps_s = parse_taps(text)
    if not taps_s:
        raise InputError(f"There is no tap in '{name}'; write a time in seconds on each line.")
    return taps_s


def _file_start(path: Path) -> bytes:
    if not path.is_file():
        raise InputError(f"There is no file '{path}'; check the name.")
    with path.open("rb") as file:
        return file.read(_LONGEST_TAPS + 1)


def parse_said(text: str, *, example: str) -> tuple[str, str]:
    """Place and statement of `PLACE=STATEMENT`."""
    place, equals, said = text.partition("=")
    if not equals or not place.strip():
        raise InputError(f"'{text}' does not say where; write it like {example}.")
    return place.strip(), said.strip()


def parse_place(text: str) -> Place:
    """A bar, or a bar and a beat.

    >>> parse_place("12:3"), parse_place("-1")
    (Place(bar=12, beat=3.0), Place(bar=-1, beat=None))
    """
    match = re.fullmatch(r"\s*(-?\d{1,6})(?::(\d{1,3}(?:[.,]\d{1,3})?))?\s*", text)
    if match is None or abs(int(match[1])) > _FURTHEST_BAR:
        raise InputError(f"'{text}' is not a place; write a bar (12), or a bar and a beat in it (12:3).")
    return Place(int(match[1]), float(match[2].replace(",", ".")) if match[2] else None)


def parse_stretch(text: str) -> Stretch:
    """One place, or two with a dash between them.

    >>> parse_stretch("9:3-12")
    Stretch(first=Place(bar=9, beat=3.0), last=Place(bar=12, beat=None))
    """
    match = re.fullmatch(r"\s*(-?[\d:.,]+)\s*(?:[-–]\s*(-?[\d:.,]+))?\s*", text)
    if match is None:
        raise InputError(f"'{text}' is not a stretch of bars; write it like 9-12 or 9:3-12:2.")
    first = parse_place(match[1])
    last = parse_place(match[2]) if match[2] else first
    if (last.bar, last.beat or float("inf")) < (first.bar, first.beat or 1.0):
        raise InputError(f"'{text}' ends before it begins; write the earlier place first.")
    return Stretch(first, last)
