"""File names that survive every system: number, song, part, version, rate and depth.

The form follows what studios ask for: letters, digits, hyphen and underscore only, no spaces, no accents, one full
stop, underscores between the parts of the name (Recording Academy Producers & Engineers Wing, recommendations for
the delivery of recorded music projects, as summarised by secondary sources).
"""

from __future__ import annotations

import re
import unicodedata

MAX_TITLE = 24
ROLLING = "rolling_"
"""A take that is being recorded is `takes/rolling_NN.wav`."""


def plain(text: str, *, fallback: str = "Song") -> str:
    """A word for a file name: accents dropped, words run together with capitals.

    >>> plain("Où est la nuit?")
    'OuEstLaNuit'
    """
    ascii_text = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    words = re.findall(r"[A-Za-z0-9]+", ascii_text.replace("'", ""))
    return "".join(word[0].upper() + word[1:] for word in words)[:MAX_TITLE] or fallback


def rate_and_depth(sr: int, bit_depth: int, *, is_float: bool = False) -> str:
    """`48k24`, `44k24` for 44.1 kHz, `96k32f`."""
    return f"{sr // 1000}k{bit_depth}{'f' if is_float else ''}"


def lint(name: str) -> str | None:
    """What is wrong with a delivered file's name, in words; None when nothing is."""
    if not re.fullmatch(r"[A-Za-z0-9_-]+\.[a-z0-9]+", name):
        return f"'{name}' has characters other than letters, digits, hyphen, underscore and one full stop"
    if re.search(r"final|audio ?1|untitled", name, re.IGNORECASE):
        return f"'{name}' says 'final' or nothing at all; a version number says more"
    return None
