"""The statement of account as a PDF: hours by stage, rounds, the agreed fee, and blanks for tax."""

from __future__ import annotations

from obbligato.job.account import account
from obbligato.job.store import JobFolder, now
from obbligato.page.documents import document_pdf

NOTICE = (
    "A statement of facts kept by the player. General information only: tax, rights and terms depend on local law; "
    "ask a licensed adviser."
)


def write_statement(folder: JobFolder) -> str:
    """Write a new numbered statement and return its path inside the job."""
    folder.require_writable()
    result, job = account(folder), folder.job
    fee = f"{result.fee:.2f} {result.currency}".strip() if result.fee is not None else ""
    data = {
        "title": job.brief.title,
        "client": job.brief.client,
        "player": job.brief.player,
        "instrument": job.instrument,
        "date": now().date().isoformat(),
        "since": result.since.date().isoformat(),
        "until": result.until.date().isoformat(),
        "stages": [[time.stage, f"{time.minutes / 60.0:.2f}"] for time in result.stages],
        "hours": f"{result.minutes / 60.0:.2f}",
        "rounds_used": result.rounds_used,
        "rounds_included": result.rounds_included,
        "rounds_beyond": result.rounds_beyond,
        "fee": fee,
        "notice": NOTICE,
    }
    pdf = document_pdf("statement", data)
    number = 1
    while folder.path(f"account/statement_{number:02d}.pdf").exists():
        number += 1
    relative = f"account/statement_{number:02d}.pdf"
    folder.add_file(relative, pdf)
    return relative
