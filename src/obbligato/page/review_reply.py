"""The client's answer as a text file: written by the review page, read back here.

The file is meant for people: the answers in words come first. Below them the same answers stand once more as JSON
between two marker lines, and only that part is read back, so a mail program may wrap or quote the words.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any, Literal, get_args

from obbligato.errors import InputError

Answer = Literal["yes", "change", "leave out"]

REPLY_KIND = "obbligato-reply"
REPLY_FORMAT = 1
MARKER_BEGIN = "----- for the player's program -----"
MARKER_END = "----- end -----"
ANSWER_WORDS: dict[Answer, str] = {"yes": "yes", "change": "change this", "leave out": "leave it out"}
SILENCE = "Silence is not approval: a section without an answer is not approved."
MAX_REPLY_CHARS = 1_000_000

_PLACE = re.compile(r"\[bar\s+(-?\d+),\s+(\d+):(\d\d(?:\.\d+)?)\]\s*")
_NOT_OURS = (
    "This is not the text file that the review page saves; ask for the file saved by its button 'Save my answer'."
)


@dataclass(frozen=True)
class Place:
    """A remark pinned to a bar and to the clock time in the client's file."""

    bar: int
    at_s: float
    text: str


@dataclass(frozen=True)
class SectionReply:
    """The answer for one section: `yes`, `change` or `leave out`, and a remark (may be empty).

    Places in a remark are written as the page writes them, `[bar 12, 0:44.5] too busy`.
    """

    section: str
    answer: Answer
    remark: str = ""

    @property
    def places(self) -> tuple[Place, ...]:
        """The remarks that are pinned to a place, in order."""
        found = list(_PLACE.finditer(self.remark))
        ends = [match.start() for match in found] + [len(self.remark)]
        return tuple(
            Place(int(m[1]), int(m[2]) * 60 + float(m[3]), self.remark[m.end() : end].strip())
            for m, end in zip(found, ends[1:], strict=True)
        )


@dataclass(frozen=True)
class Reply:
    """What the client answered: to which page (title, version, fingerprint), who, when, and section by section.

    Sections left without an answer are in `unanswered`; they are not approved.
    """

    title: str
    version: int
    fingerprint: str
    name: str
    date: str
    answers: tuple[SectionReply, ...]
    unanswered: tuple[str, ...] = ()


def reply_text(
    *,
    title: str,
    version: int,
    fingerprint: str,
    name: str,
    answers: tuple[SectionReply, ...],
    date: str = "",
    unanswered: tuple[str, ...] = (),
) -> str:
    """The answer as the review page writes it; `parse_reply` reads it back."""
    lines = [f'Answer to the mock-up of "{title}", version {version}', f"From: {name}", f"Date: {date}", ""]
    for answer in answers:
        lines.append(f"{answer.section}: {ANSWER_WORDS[answer.answer]}")
        lines += [f"    {row}" for row in answer.remark.splitlines()]
    if unanswered:
        lines += ["", f"No answer yet: {', '.join(unanswered)}. {SILENCE}"]
    data = {
        "kind": REPLY_KIND,
        "format_version": REPLY_FORMAT,
        "title": title,
        "version": version,
        "fingerprint": fingerprint,
        "name": name,
        "date": date,
        "answers": [{"section": a.section, "answer": a.answer, "remark": a.remark} for a in answers],
        "unanswered": list(unanswered),
    }
    return "\n".join([*lines, "", MARKER_BEGIN, json.dumps(data, indent=1, ensure_ascii=False), MARKER_END, ""])


def parse_reply(text: str) -> Reply:
    """Read the client's answer; words around it and the marks of a quoting mail program do no harm.

    Raises
    ------
    InputError
        When the text is not what the review page writes, or parts of it are missing or changed.
    """
    if len(text) > MAX_REPLY_CHARS:
        raise InputError(_NOT_OURS)
    data = _embedded_json(text)
    if data.get("kind") != REPLY_KIND:
        raise InputError(_NOT_OURS)
    if data.get("format_version") != REPLY_FORMAT:
        raise InputError("The answer comes from a page of another version of this program; update the program.")
    version = data.get("version")
    if not isinstance(version, int) or isinstance(version, bool):
        raise _damaged("the version of the line")
    return Reply(
        title=_text(data, "title"),
        version=version,
        fingerprint=_text(data, "fingerprint"),
        name=_text(data, "name"),
        date=_text(data, "date"),
        answers=_answers(data.get("answers")),
        unanswered=_names(data.get("unanswered")),
    )


def _embedded_json(text: str) -> dict[str, Any]:
    lines = [line.removeprefix("\ufeff").strip() for line in text.splitlines()]
    unquoted = [line.lstrip("> ").rstrip() for line in lines]
    try:
        begin = unquoted.index(MARKER_BEGIN)
        end = unquoted.index(MARKER_END, begin)
    except ValueError:
        raise InputError(_NOT_OURS) from None
    quoted = lines[begin].startswith(">")
    body = "\n".join((unquoted if quoted else lines)[begin + 1 : end])
    try:
        data = json.loads(body, strict=False)
    except (json.JSONDecodeError, RecursionError):
        raise _damaged("the part below the marker line") from None
    if not isinstance(data, dict):
        raise _damaged("the part below the marker line")
    return data


def _answers(value: object) -> tuple[SectionReply, ...]:
    if not isinstance(value, list):
        raise _damaged("the list of answers")
    answers = []
    for item in value:
        if not isinstance(item, dict) or item.get("answer") not in get_args(Answer):
            raise _damaged("the answer for a section")
        answers.append(SectionReply(_text(item, "section"), item["answer"], _text(item, "remark")))
    sections = [answer.section for answer in answers]
    if len(set(sections)) != len(sections):
        raise _damaged("the list of answers, which names a section twice")
    return tuple(answers)


def _names(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise _damaged("the list of open sections")
    return tuple(value)


def _text(data: dict[str, Any], key: str) -> str:
    value = data.get(key)
    if not isinstance(value, str):
        raise _damaged(f"'{key}'")
    return value


def _damaged(what: str) -> InputError:
    return InputError(f"The answer is damaged at {what}; ask the client to save it once more and send it as a file.")
