"""The take sheet: phrases down, takes across, each with its verdict, the chosen one marked."""

from __future__ import annotations

from pathlib import PurePath

from obbligato.job.store import JobFolder, now
from obbligato.music.grid import Grid
from obbligato.page.documents import document_pdf
from obbligato.takes.readings import Assessment


def take_sheet(folder: JobFolder, assessment: Assessment, grid: Grid) -> bytes:
    """The sheet as a PDF."""
    job, line = folder.job, assessment.line
    names = {take.path: take_name(take.path) for take in assessment.takes}
    chosen = {choice.phrase: choice for choice in assessment.choice}
    rows = []
    for phrase in line.phrases:
        first_bar = grid.position_at(line.notes[phrase.first_note].start_s).bar
        last_bar = grid.position_at(line.notes[phrase.last_note].start_s).bar
        rows.append(
            {
                "number": phrase.index + 1,
                "bars": f"{first_bar}" if first_bar == last_bar else f"{first_bar}–{last_bar}",
                "takes": [
                    {"take": names[take.path], "verdict": _without_bars(take.phrases[phrase.index].verdict)}
                    for take in assessment.takes
                ],
                "chosen": names[chosen[phrase.index].take],
                "why": in_words(chosen[phrase.index].why, assessment),
            }
        )
    return document_pdf(
        "take-sheet",
        {
            "title": job.brief.title,
            "client": job.brief.client,
            "player": job.brief.player,
            "instrument": job.instrument,
            "date": now().date().isoformat(),
            "takes": list(names.values()),
            "remarks": [
                {"take": names[take.path], "remark": remark} for take in assessment.takes for remark in take.remarks
            ],
            "phrases": rows,
        },
    )


def take_name(path: str) -> str:
    """A take as a player speaks of it.

    >>> take_name("takes/take_03.wav")
    'take 3'
    """
    return f"take {int(PurePath(path).stem.rpartition('_')[2])}"


def in_words(text: str, assessment: Assessment) -> str:
    """A sentence with the takes' names in it instead of their paths, beginning with a capital."""
    for take in assessment.takes:
        text = text.replace(take.path, take_name(take.path))
    return text[:1].upper() + text[1:]


def _without_bars(verdict: str) -> str:
    """The verdict without the bars it begins with, which stand at the head of the row."""
    words = verdict.partition(": ")[2] or verdict
    return words[:1].upper() + words[1:]
