"""The sheet of session facts and credits: what the job knows, and blanks for what only people know."""

from __future__ import annotations

from typing import Any

from obbligato.job.model import Job
from obbligato.job.store import JobFolder
from obbligato.page.documents import document_pdf

NOTICE = (
    "A sheet of facts and blanks. General information only: which rights a performance gives, and where, depends on "
    "local law; ask a union, a collecting society or a licensed adviser before relying on it."
)
_WRITERS = {"player": "the player", "client": "the client", "both": "both", "": ""}


def facts_sheet_pdf(folder: JobFolder) -> bytes:
    """The sheet as a PDF; what is blank is asked by line-up sheets in many countries (common practice, no source)."""
    job, made = folder.job, folder.job.last_made("choose")
    return document_pdf(
        "session-facts",
        {
            "title": job.brief.title,
            "client": job.brief.client,
            "player": job.brief.player,
            "instrument": job.instrument,
            "date": made.at.date().isoformat() if made is not None else "",
            "groups": _groups(job),
            "notice": NOTICE,
        },
    )


def _groups(job: Job) -> list[list[Any]]:
    brief = job.brief
    used = ", ".join(str(take.number) for take in job.takes_in_use)
    begun = job.created_at.date().isoformat()
    return [
        [
            "The performance",
            [
                ["Song", brief.title],
                ["Instrument", job.instrument],
                ["Played", f"takes {used}" if used else ""],
                ["Dates of recording", ""],
                ["Work on the job began", begun],
                ["Country of recording", ""],
                ["Recording code (ISRC), once known", ""],
            ],
        ],
        [
            "The performer",
            [
                ["Name as credited", brief.player],
                ["Legal name", ""],
                ["Role (soloist, section, non-featured)", ""],
                ["Nationality, country of residence", ""],
                ["Society and member number", ""],
            ],
        ],
        [
            "The line",
            [
                ["Written by", _WRITERS[brief.writer]],
                ["Shares agreed in writing, if any", ""],
            ],
        ],
        [
            "Credit and use, as agreed in the brief",
            [
                ["Credit wording", brief.credit],
                ["Use", brief.usage],
                ["Client", brief.client],
            ],
        ],
    ]
