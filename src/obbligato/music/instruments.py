"""How to look an instrument up."""

from __future__ import annotations

import difflib
import re

from obbligato.errors import InputError
from obbligato.music.instrument_model import Clef, Family, Instrument, Interval, Zone, parse_pitch, pitch_text
from obbligato.music.instrument_table import INSTRUMENTS

__all__ = [
    "INSTRUMENTS",
    "Clef",
    "Family",
    "Instrument",
    "Interval",
    "Zone",
    "find_instrument",
    "parse_pitch",
    "pitch_text",
]


def find_instrument(name: str) -> Instrument:
    """Look an instrument up by its name, however it is commonly written.

    Capitals, hyphens, word order, `sax` or `saxophone`, `in Bb`, `B flat` or `B♭` make no difference; an instrument
    that comes in several keys is the usual one unless a key is named.

    >>> find_instrument("b-flat flugel").name
    'Flugelhorn in Bb'

    Raises
    ------
    InputError
        When no instrument, or more than one, answers to the name; the nearest names are given.
    """
    words, key = _words(name)
    found = [i for i in INSTRUMENTS if words in _names(i)]
    if key:
        matching = [i for i in found if i.key == key]
        if found and not matching:
            raise InputError(f"'{name}' is not known in that key; this program has: {_listed(found)}.")
        found = matching
    if found:
        return found[0]
    raise InputError(f"'{name}' is not an instrument this program knows; {_suggestion(words)}")


def _words(text: str) -> tuple[frozenset[str], str]:
    """The words of a name without its key, and the key (empty where none is named)."""
    plain = text.casefold().replace("♭", "b").replace("saxophone", "sax")
    plain = re.sub(r"\b([a-g])[\s-]*(?:flat|b)\b", r"\1b", plain)
    words = [word for word in re.split(r"[^\w#]+", plain) if word not in ("", "in", "the")]
    keys = [word for word in words if re.fullmatch("[a-g]b?", word)]
    return frozenset(word for word in words if word not in keys), keys[0].capitalize() if len(keys) == 1 else ""


def _names(instrument: Instrument) -> list[frozenset[str]]:
    return [_words(name)[0] for name in (instrument.name, *instrument.aliases)]


def _listed(instruments: list[Instrument]) -> str:
    return ", ".join(i.name for i in instruments)


def _suggestion(words: frozenset[str]) -> str:
    """The instruments whose names share a word with the name asked for, or else look most like it."""
    near = [i for i in INSTRUMENTS if any(words & names for names in _names(i))]
    if not near:
        wanted = " ".join(sorted(words))
        spelled = {" ".join(sorted(names)): i for i in reversed(INSTRUMENTS) for names in _names(i)}
        close = difflib.get_close_matches(wanted, list(spelled), n=6, cutoff=0.5)
        near = list(dict.fromkeys(spelled[text] for text in close))
    if near:
        return f"did you mean {_listed(near)}?"
    return f"choose one of: {_listed(list(INSTRUMENTS))}."
