"""The delivery log: every file that was sent, with its size, checksum and date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from obbligato.job.delivery import proved_pack
from obbligato.job.store import JobFolder


@dataclass(frozen=True)
class LogRow:
    """One file of one delivery."""

    delivery: int
    at: datetime
    name: str
    bytes: int
    sha256: str


def delivery_log(folder: JobFolder) -> tuple[LogRow, ...]:
    """All files of all packs whose proof was kept, the oldest first; sizes and checksums are those when written."""
    made = [one for one in folder.job.made if one.stage == "deliver"]
    return tuple(
        LogRow(number, one.at, sent.name, sent.bytes, sent.sha256)
        for number, one in enumerate(made, start=1)
        if (pack := proved_pack(folder, one)) is not None
        for sent in pack.sent
    )


def log_text(rows: tuple[LogRow, ...]) -> str:
    """The log as comma-separated values with a heading."""
    lines = ["delivery,date,file,bytes,sha256"]
    lines += [f"{row.delivery},{row.at.isoformat()},{row.name},{row.bytes},{row.sha256}" for row in rows]
    return "\n".join(lines) + "\n"
