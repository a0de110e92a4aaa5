"""What can be mended in a take, as the player asks for it and as the job keeps it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast

from obbligato.errors import InputError

Kind = Literal["rate", "steps", "clock", "bleed", "hum", "low-cut", "move", "gain"]

ORDER: tuple[Kind, ...] = ("rate", "steps", "clock", "bleed", "hum", "low-cut", "move", "gain")
"""Mends are made in this order, whatever the order in which they were asked for: time first, for the others rest on
where the notes are."""
MOST_MS = 250.0
"""Further than this a phrase is not late but in another place."""
MOST_DB = 24.0
_WITH_NUMBER = {"move": "ms", "gain": "dB"}


@dataclass(frozen=True)
class Mend:
    """One thing mended.

    Attributes
    ----------
    value
        Milliseconds for a move (positive: later), decibels for a gain; None for the others.
    phrase
        From 1; None for the whole take.
    """

    kind: Kind
    value: float | None = None
    phrase: int | None = None

    def __str__(self) -> str:
        number = "" if self.value is None else f"={self.value:g}"
        return f"{self.kind}{number}" + (f" phrase {self.phrase}" if self.phrase is not None else "")

    @property
    def replaces(self) -> tuple[Kind, int | None]:
        """Of mends that agree in this, a take has one at most."""
        return self.kind, self.phrase


def parse_mend(text: str, *, phrase: int | None = None) -> Mend:
    """A mend as it is written, on the command line or in a job.

    >>> str(parse_mend("gain=-3", phrase=4)), str(parse_mend("move=-12.5 phrase 2"))
    ('gain=-3 phrase 4', 'move=-12.5 phrase 2')

    Raises
    ------
    InputError
        When it is none of the mends, or its number or phrase is missing or out of bounds.
    """
    match = re.fullmatch(r"\s*([a-z-]+)\s*(?:=\s*([-+]?\d{1,4}(?:[.,]\d{1,3})?))?(?:\s+phrase\s+(\d{1,4}))?\s*", text)
    if match is None or match[1] not in ORDER:
        raise InputError(
            f"'{text}' is not something to mend; there are clock, steps, rate, hum, low-cut, bleed, gain=DB, move=MS."
        )
    kind = cast(Kind, match[1])
    value = float(match[2].replace(",", ".")) if match[2] else None
    phrase = int(match[3]) if match[3] else phrase
    unit = _WITH_NUMBER.get(kind)
    if (value is None) != (unit is None):
        how = f"{kind}={unit.upper()}, with a number" if unit else f"{kind} alone, without a number"
        raise InputError(f"'{text}': write {how}.")
    if phrase is not None and unit is None:
        raise InputError(f"'{kind}' is for a whole take, not for a phrase; ask for it without one.")
    if kind == "move" and phrase is None:
        raise InputError(
            "Only a phrase can be moved; say which. Where a whole take starts is stated when it is added: "
            "obbligato takes JOB add FILE --at TIME"
        )
    limit = MOST_MS if kind == "move" else MOST_DB
    if value is not None and not 0.0 < abs(value) <= limit:
        raise InputError(f"'{text}': give {unit} other than 0, {limit:g} at most either way.")
    return Mend(kind, value, phrase)


def in_order(mends: tuple[Mend, ...]) -> tuple[Mend, ...]:
    """Mends in the order in which they are made."""
    return tuple(sorted(mends, key=lambda mend: (ORDER.index(mend.kind), mend.phrase or 0)))
