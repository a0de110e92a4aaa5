"""The client's page: one HTML file that needs nothing else, on which the mock-up is heard and answered.

It opens by a double click, offline, and asks the network for nothing (its content security policy forbids it).
Sounds travel inside it as MP3. Whatever comes from outside reaches the page as data and is set as text.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from dataclasses import dataclass
from pathlib import Path

from obbligato.errors import InputError
from obbligato.page.review_reply import (
    ANSWER_WORDS,
    MARKER_BEGIN,
    MARKER_END,
    REPLY_FORMAT,
    REPLY_KIND,
    SILENCE,
    Answer,
    Place,
    Reply,
    SectionReply,
    parse_reply,
    reply_text,
)
from obbligato.sound.audio import Audio
from obbligato.sound.files import mp3_bytes

__all__ = [
    "Answer",
    "BarView",
    "Place",
    "Reply",
    "ReviewData",
    "SectionReply",
    "SectionView",
    "client_mp3",
    "parse_reply",
    "reply_text",
    "review_html",
]

CLIENT_KBPS = 64
"""One channel at this rate: three sounds of four minutes make a page of 7.7 MB."""

_TEMPLATES = Path(__file__).parent / "templates"
_SLOT = re.compile(r"@@([A-Z_]+)@@")


@dataclass(frozen=True)
class BarView:
    """One bar of the sheet; it ends where the next begins.

    Attributes
    ----------
    number
        Bar number, bar 1 being the first of the song; count-in bars are 0, -1 ...
    start_s
        In seconds of the client's file.
    section
        Name of its section, one of `ReviewData.sections`; empty before the first.
    chords
        Chords as text, e.g. `Bb  Gm7`; may be empty.
    """

    number: int
    start_s: float
    section: str
    chords: str = ""


@dataclass(frozen=True)
class SectionView:
    """A section of the form, its name unlike any other's (A, B, A2); only where the line plays is an answer asked."""

    name: str
    line_plays: bool


@dataclass(frozen=True)
class ReviewData:
    """All that the client's page shows and plays; times in seconds of the client's file.

    Attributes
    ----------
    line_spans_s
        Where the line sounds (one pair of start and end per phrase).
    blend_mp3, guide_mp3, line_mp3
        Guide with line, guide alone, line alone: MP3 files of one start and length; `client_mp3` makes them.
    end_s
        End of the song, and of the last bar.
    sent_on
        Date in words or figures, as it is to be read.
    """

    title: str
    player: str
    instrument: str
    version: int
    fingerprint: str
    sections: tuple[SectionView, ...]
    bars: tuple[BarView, ...]
    line_spans_s: tuple[tuple[float, float], ...]
    end_s: float
    blend_mp3: bytes
    guide_mp3: bytes
    line_mp3: bytes
    sent_on: str = ""

    def __post_init__(self) -> None:
        names = [section.name for section in self.sections]
        if len(set(names)) != len(names) or "" in names:
            raise InputError("Each section of a review needs a name of its own.")
        strangers = {bar.section for bar in self.bars} - {*names, ""}
        if strangers:
            raise InputError(f"Bars belong to the sections {', '.join(sorted(strangers))}, which are not listed.")
        starts_s = [bar.start_s for bar in self.bars]
        if not starts_s or any(a >= b for a, b in zip(starts_s, [*starts_s[1:], self.end_s], strict=True)):
            raise InputError("A review needs its bars in order of time, before the end of the song.")


def client_mp3(audio: Audio) -> bytes:
    """A sound as the page carries it: one channel, small."""
    return mp3_bytes(Audio(audio.mono(), audio.sr), kbps=CLIENT_KBPS)


def review_html(data: ReviewData) -> str:
    """The client's page as one HTML document; the same data give the same text.

    It plays blend, guide and line from one clock, shows the song as bars with the places where the line plays, takes
    one of three answers and a remark per section, and saves them as the text that `parse_reply` reads.
    """
    script = (_TEMPLATES / "review.js").read_text(encoding="utf-8")
    style = (_TEMPLATES / "review.css").read_text(encoding="utf-8")
    slots = {
        "TITLE": html.escape(data.title),
        "VERSION": str(data.version),
        "SILENCE": html.escape(SILENCE),
        "STYLE": style,
        "SCRIPT": script,
        "STYLE_HASH": _csp_hash(style),
        "SCRIPT_HASH": _csp_hash(script),
        "DATA": _json_in_html(_page_data(data)),
        "BLEND": base64.b64encode(data.blend_mp3).decode("ascii"),
        "GUIDE": base64.b64encode(data.guide_mp3).decode("ascii"),
        "LINE": base64.b64encode(data.line_mp3).decode("ascii"),
    }
    template = (_TEMPLATES / "review.html").read_text(encoding="utf-8")
    return _SLOT.sub(lambda match: slots[match[1]], template)


def _page_data(data: ReviewData) -> dict[str, object]:
    return {
        "title": data.title,
        "player": data.player,
        "instrument": data.instrument,
        "version": data.version,
        "fingerprint": data.fingerprint,
        "sentOn": data.sent_on,
        "endS": data.end_s,
        "sections": [{"name": s.name, "plays": s.line_plays} for s in data.sections],
        "bars": [
            {"number": b.number, "startS": b.start_s, "section": b.section, "chords": b.chords} for b in data.bars
        ],
        "spansS": data.line_spans_s,
        "reply": {
            "kind": REPLY_KIND,
            "formatVersion": REPLY_FORMAT,
            "begin": MARKER_BEGIN,
            "end": MARKER_END,
            "words": ANSWER_WORDS,
            "silence": SILENCE,
        },
    }


def _json_in_html(value: object) -> str:
    """JSON that can stand inside a script element: no character in it can end the element or open another."""
    text = json.dumps(value, ensure_ascii=False)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _csp_hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
