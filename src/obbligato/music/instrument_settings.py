"""A player's own figures for an instrument, read from a settings file in TOML (version 1.0, toml.io).

    ["Trumpet in Bb"]
    safe = ["A3", "G5"]
    strong = ["G3", "B5"]
    range = ["F#3", "C6"]
    breath_s = 6.5

Pitches are written ones, lowest first. `breath_s`, `bow_s` and `play_to_rest` are numbers.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from obbligato.errors import InputError
from obbligato.music.instrument_model import Instrument, parse_pitch, pitch_text
from obbligato.music.instruments import find_instrument

_PITCH = re.compile(r"[A-G][b#]?[0-9]")
_ZONES = {
    "safe": ("comfortable_low", "comfortable_high"),
    "strong": ("strong_low", "strong_high"),
    "range": ("low", "high"),
}
_NUMBERS = {"breath_s": (1.0, 60.0), "bow_s": (1.0, 60.0), "play_to_rest": (0.1, 20.0)}
"""What may be set, with its smallest and largest value."""


@dataclass(frozen=True)
class Own:
    """What a player set for an instrument: values by the name of the field, and the file it stands in."""

    values: Mapping[str, float]
    source: str


@dataclass(frozen=True)
class OwnFigures:
    """A player's figures by the name of the instrument."""

    by_name: Mapping[str, Own] = field(default_factory=dict)

    def applied_to(self, instrument: Instrument) -> Instrument:
        """The instrument with the player's own figures in place of the table's.

        A zone that is set pushes the zones around it outwards or inwards, so that safe lies within strong, and strong
        within the range.
        """
        own = self.by_name.get(instrument.name)
        return instrument if own is None else _fitted(instrument, own.values)

    def words(self, instrument: Instrument) -> tuple[str, ...]:
        """What is the player's own, and what the table has instead."""
        own = self.by_name.get(instrument.name)
        if own is None:
            return ()
        changed = _fitted(instrument, own.values)
        told = [
            f"{name} {_zone_text(changed, ends)} in place of {_zone_text(instrument, ends)}"
            for name, ends in _ZONES.items()
            if _zone_text(changed, ends) != _zone_text(instrument, ends)
        ]
        told += [
            f"{name} {getattr(changed, name):g} in place of {_or_none(getattr(instrument, name))}"
            for name in _NUMBERS
            if name in own.values
        ]
        return tuple(f"{text} ({own.source})" for text in told)

    def under(self, nearer: OwnFigures) -> OwnFigures:
        """These, except where `nearer` ones (those of a job) have the same instrument."""
        return OwnFigures({**self.by_name, **nearer.by_name})


def parse_settings(text: str, source: str) -> OwnFigures:
    """The figures of a settings file; `source` is its name for the player.

    Raises
    ------
    InputError
        When it is no TOML, names no known instrument, or sets something that cannot be.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"'{source}' cannot be read as TOML: {error}; mend that place.") from error
    by_name: dict[str, Own] = {}
    for name, table in tables.items():
        if not isinstance(table, dict):
            raise InputError(
                f"'{name}' in '{source}' stands outside an instrument; begin one like: [\"Trumpet in Bb\"]"
            )
        instrument = find_instrument(name)
        values: dict[str, int | float] = {}
        for entry, value in table.items():
            values |= _entry(entry, value, f"{instrument.name} in '{source}'")
        _fitted(instrument, values)
        by_name[instrument.name] = Own(values, source)
    return OwnFigures(by_name)


def _entry(name: str, value: Any, where: str) -> dict[str, int | float]:
    """The fields that one line of the file sets."""
    if name in _ZONES:
        named = value if isinstance(value, list) and len(value) == 2 else []
        if not named or not all(isinstance(p, str) and _PITCH.fullmatch(p) for p in named):
            raise InputError(f'{name} of {where} must be two written pitches, like: {name} = ["G3", "G5"]')
        low, high = (parse_pitch(p) for p in named)
        if low >= high:
            raise InputError(
                f"{name} of {where} runs from {named[0]} down to {named[1]}; name the lowest note first."
            )
        return dict(zip(_ZONES[name], (low, high), strict=True))
    if name in _NUMBERS:
        least, most = _NUMBERS[name]
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            raise InputError(f"{name} of {where} must be a number from {least:g} to {most:g}, not {value!r}.")
        return {name: float(value)}
    raise InputError(f"'{name}' of {where} is nothing that can be set; use {', '.join((*_ZONES, *_NUMBERS))}.")


def _fitted(instrument: Instrument, values: Mapping[str, Any]) -> Instrument:
    """The instrument with these values; zones that were not set give way to those that were."""
    changed = replace(instrument, **dict(values))
    low, high, strong_low, strong_high = changed.low, changed.high, changed.strong_low, changed.strong_high
    safe_low, safe_high = changed.comfortable_low, changed.comfortable_high
    if "low" in values:
        strong_low, strong_high = max(strong_low, low), min(strong_high, high)
        safe_low, safe_high = max(safe_low, low), min(safe_high, high)
    if "strong_low" in values:
        safe_low, safe_high = max(safe_low, strong_low), min(safe_high, strong_high)
    strong_low, strong_high = min(strong_low, safe_low), max(strong_high, safe_high)
    low, high = min(low, strong_low), max(high, strong_high)
    ends: dict[str, Any] = {"comfortable_low": safe_low, "comfortable_high": safe_high}
    ends |= {"strong_low": strong_low, "strong_high": strong_high, "low": low, "high": high}
    unlike = [name for name, value in values.items() if name in ends and ends[name] != value]
    if unlike or safe_low >= safe_high:
        raise InputError(
            f"The zones of {instrument.name} do not lie within each other; safe must lie within strong, and strong "
            "within range."
        )
    return replace(changed, **ends)


def _zone_text(instrument: Instrument, ends: tuple[str, str]) -> str:
    return "-".join(pitch_text(getattr(instrument, end)) for end in ends)


def _or_none(value: float | None) -> str:
    return "none" if value is None else f"{value:g}"
