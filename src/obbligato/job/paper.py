"""The page to play from, as files in the job: PDF for both papers, and MusicXML."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.job.keys import line_key
from obbligato.job.mapping import song_map
from obbligato.job.store import JobFolder, now
from obbligato.job.writing import current_line, instrument_of
from obbligato.page.documents import Paper
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part import part_pdf
from obbligato.page.part_make import make_part as lay_out_part
from obbligato.page.part_score import Heading
from obbligato.progress import Progress, part_of, silent

PDFS: dict[Paper, str] = {"a4": "part_A4.pdf", "letter": "part_Letter.pdf"}
MUSICXML = "part.musicxml"


@dataclass(frozen=True)
class PartFiles:
    """Where the part is, its files, and what to know before playing from it."""

    folder: str
    files: tuple[str, ...]
    sentences: tuple[str, ...]


def make_part(folder: JobFolder, *, progress: Progress = silent) -> PartFiles:
    """Engrave the newest line for the job's instrument."""
    folder.require_writable()
    song = song_map(folder, progress=part_of(progress, 0.0, 0.3))
    placed, job = current_line(folder), folder.job
    version = placed.version.version
    heading = Heading(
        title=job.brief.title,
        version=version,
        guide_sha256=job.guide.sha256,
        day=now().date(),
        player=job.brief.player,
    )
    part = lay_out_part(placed.line, song, instrument_of(folder), heading)
    with folder.new_folder("part", f"v{version}") as (building, target):
        (building / MUSICXML).write_text(part_musicxml(part), encoding="utf-8")
        for share, (paper, name) in enumerate(PDFS.items()):
            progress(0.4 + 0.3 * share, f"engraving for {paper}")
            (building / name).write_bytes(part_pdf(part, paper=paper))
    made = folder.made("part", target, from_key=line_key(folder), line_version=version)
    folder.save("part", f"part of line version {version} engraved", made=made)
    progress(1.0, "done")
    return PartFiles(target, (*PDFS.values(), MUSICXML), (part.reading, part.first_note))


def current_part(folder: JobFolder, *, progress: Progress = silent) -> str:
    """Folder of an engraved part of the newest line, made now if there is none."""
    current = folder.job.made_from("part", line_key(folder)) or make_part(folder, progress=progress)
    return current.folder
