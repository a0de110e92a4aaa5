"""The client's part of a job for the page: rounds sent and answered, each answer on its bars, what to send next."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel

from obbligato.desk.deps import Desk
from obbligato.desk.job_data import FileView
from obbligato.job.account import account
from obbligato.job.approval import REPLY_FILE, REVIEW_PAGE, waiting_round
from obbligato.job.mapping import FINDINGS, song_map
from obbligato.job.mockup import played_sections
from obbligato.job.model import Answer, Round, SectionAnswer
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line
from obbligato.listen.songmap import SongMap
from obbligato.page.review_reply import ANSWER_WORDS, SectionReply

_SAID: dict[Answer, str] = {"yes": "yes", "change": "please change this", "leave out": "please leave this out"}


class PlacedRemark(BaseModel):
    """A remark pinned to a bar by the client, or (without one) said of the whole section."""

    bar: int | None
    at_s: float | None
    text: str


class AnswerView(BaseModel):
    """The client's answer for a section; its bars are None when the form has no such section any more."""

    section: str
    answer: Answer
    words: str
    first_bar: int | None
    last_bar: int | None
    remarks: list[PlacedRemark]


class ClientRound(BaseModel):
    """A round: what was sent, and what came back."""

    number: int
    line_version: int
    sent_at: datetime
    replied_at: datetime | None
    replied_by: str
    state: Literal["waits", "agreed", "changes"]
    sentence: str
    answers: list[AnswerView]
    page: FileView | None
    reply: FileView | None


class ClientView(BaseModel):
    """All rounds, the newest first; whether a new one can be sent, and whether that is what the job needs next."""

    can_send: bool
    should_send: bool
    sentence: str
    holds: list[str]
    rounds: list[ClientRound]
    used: int
    included: int
    beyond: int
    counter: list[str]


class ChartRemark(BaseModel):
    """A remark of the client's for the chart."""

    kind: Literal["client"] = "client"
    severity: Literal["note", "look", "stop"]
    first_bar: int
    last_bar: int
    text: str


def client_view(desk: Desk, folder: JobFolder) -> ClientView:
    """Where the client stands."""
    mapped = folder.path(FINDINGS).exists()
    song = song_map(folder) if mapped else None
    stands_in_the_way = _what_stands_in_the_way(folder, song)
    answered_already = _answered_already(folder)
    found = account(folder)
    return ClientView(
        can_send=not stands_in_the_way,
        should_send=not stands_in_the_way and not answered_already,
        sentence=stands_in_the_way or answered_already or f"Line version {folder.job.lines[-1].version} can be sent.",
        holds=_what_the_page_holds(folder, song) if song and folder.job.lines else [],
        rounds=[_round(desk, folder, round_, song) for round_ in reversed(folder.job.rounds)],
        used=found.rounds_used,
        included=found.rounds_included,
        beyond=found.rounds_beyond,
        counter=list(found.rounds_sentences),
    )


def client_remarks(folder: JobFolder, song: SongMap) -> list[ChartRemark]:
    """What the client said in the newest answer, by section; what they pinned to a bar stands on that bar."""
    answered = next((r for r in reversed(folder.job.rounds) if r.replied_at is not None), None)
    if answered is None:
        return []
    who = answered.replied_by or "The client"
    is_newest = bool(folder.job.lines) and answered.line_version == folder.job.lines[-1].version
    of_older = "" if is_newest else f" (of line version {answered.line_version})"
    remarks = []
    for answer in answered.answers:
        view = _answer(answer, song)
        severity: Literal["note", "look"] = "note" if answer.answer == "yes" else "look"
        for remark in view.remarks:
            if remark.bar is not None and remark.text:
                text = f"{who}{of_older}: “{remark.text}”"
                remarks.append(ChartRemark(severity=severity, first_bar=remark.bar, last_bar=remark.bar, text=text))
        if view.first_bar is not None and view.last_bar is not None:
            free = "".join(f": “{remark.text}”" for remark in view.remarks if remark.bar is None)
            text = f"{who} on {answer.section}{of_older}: {_SAID[answer.answer]}{free}"
            remarks.append(
                ChartRemark(severity=severity, first_bar=view.first_bar, last_bar=view.last_bar, text=text)
            )
    return sorted(remarks, key=lambda remark: (remark.first_bar, remark.last_bar))


def _what_stands_in_the_way(folder: JobFolder, song: SongMap | None) -> str:
    """One sentence, or nothing when the newest line can be sent."""
    if song is None:
        return "Listen to the guide first: the client answers by section."
    if not folder.job.lines:
        return "Write a line first: it is what the client hears."
    if waiting := waiting_round(folder):
        return (
            f"Line version {waiting.line_version} is with the client since {waiting.sent_at:%Y-%m-%d}; "
            "wait for the answer, or write a new version first."
        )
    return ""


def _answered_already(folder: JobFolder) -> str:
    """One sentence when the client has answered the newest line, or nothing."""
    last = folder.job.rounds[-1] if folder.job.rounds else None
    if not last or not folder.job.lines or last.line_version != folder.job.lines[-1].version:
        return ""
    if last.replied_at is None:
        return ""
    if last.asks_for_changes:
        return f"Write version {last.line_version + 1} of the line first: it is what the next round is about."
    return f"Line version {last.line_version} is agreed; there is nothing to send."


def _what_the_page_holds(folder: JobFolder, song: SongMap) -> list[str]:
    asked = [section.label for section in played_sections(current_line(folder), song)]
    sections = f"{', '.join(asked)}, where the line plays" if asked else "no section, because the line plays in none"
    return [
        "One file that opens with a double click, offline, on a telephone too; it sends nothing anywhere.",
        f"Three sounds to switch between: guide with line version {folder.job.lines[-1].version}, guide alone, "
        "line alone.",
        "The song's bars with their chords and sections; a remark can be pinned to any of them.",
        f"Three answers (yes, change this, leave it out) for {sections}.",
        "A button that saves the answer as a small text file, for the client to send back.",
    ]


def _round(desk: Desk, folder: JobFolder, round_: Round, song: SongMap | None) -> ClientRound:
    changes = [answer.section for answer in round_.answers if answer.answer != "yes"]
    who = round_.replied_by or "The client"
    state: Literal["waits", "agreed", "changes"]
    if round_.replied_at is None:
        state, sentence = "waits", "No answer yet. Silence is not a yes."
    elif changes:
        state, sentence = "changes", f"{who} asks for changes in {', '.join(changes)}."
    else:
        state, sentence = "agreed", f"{who} said yes to line version {round_.line_version}."
    return ClientRound(
        number=round_.number,
        line_version=round_.line_version,
        sent_at=round_.sent_at,
        replied_at=round_.replied_at,
        replied_by=round_.replied_by,
        state=state,
        sentence=sentence,
        answers=[_answer(answer, song) for answer in round_.answers],
        page=file_view(desk, folder, f"{round_.folder}/{REVIEW_PAGE}"),
        reply=file_view(desk, folder, f"{round_.folder}/{REPLY_FILE}"),
    )


def _answer(answer: SectionAnswer, song: SongMap | None) -> AnswerView:
    places = SectionReply(answer.section, answer.answer, answer.remark).places
    pinned = [PlacedRemark(bar=place.bar, at_s=place.at_s, text=place.text) for place in places]
    free_text = answer.remark.split("[bar ", 1)[0].strip() if places else answer.remark.strip()
    whole = [PlacedRemark(bar=None, at_s=None, text=free_text)] if free_text else []
    first_bar, last_bar = _bars_of(answer.section, song)
    return AnswerView(
        section=answer.section,
        answer=answer.answer,
        words=ANSWER_WORDS[answer.answer],
        first_bar=first_bar,
        last_bar=last_bar,
        remarks=[*whole, *pinned],
    )


def _bars_of(label: str, song: SongMap | None) -> tuple[int, int] | tuple[None, None]:
    """First and last bar of a section, whose ends are taken to the nearest bar lines."""
    section = next((s for s in song.sections if s.label == label), None) if song else None
    if song is None or section is None:
        return None, None
    grid = song.to_grid()
    first, end = (
        1 + round(float(grid.sec_to_beat(at_s)) / grid.meter.beats_per_bar)
        for at_s in (section.start_s, section.end_s)
    )
    return first, max(first, end - 1)


def file_view(desk: Desk, folder: JobFolder, relative: str) -> FileView | None:
    """A file of the job with its address; None when it is not there."""
    path = folder.path(relative)
    if not path.is_file():
        return None
    return FileView(name=path.name, url=desk.link(folder, relative), bytes=path.stat().st_size)
