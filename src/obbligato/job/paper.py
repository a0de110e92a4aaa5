"""The page to play from, as files in the job: PDFs for both papers, MusicXML, MIDI, and the map to follow it by."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from obbligato.job.keys import part_key
from obbligato.job.mapping import song_map, sung_words
from obbligato.job.store import JobFolder, now
from obbligato.job.writing import current_line, instrument_of
from obbligato.music.midi import write_midi
from obbligato.page.documents import Paper
from obbligato.page.follow import follow
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part import layout_pdf, part_layout
from obbligato.page.part_make import make_part as lay_out_part
from obbligato.page.part_pages import SIDES, Layout
from obbligato.page.part_print import PRINTS, PartPrint
from obbligato.page.part_score import Heading, Part
from obbligato.progress import Progress, part_of, silent

PDFS: dict[Paper, str] = {"a4": "part_A4.pdf", "letter": "part_Letter.pdf"}
MUSICXML = "part.musicxml"
SCORE_PDFS: dict[Paper, str] = {"a4": "score_A4.pdf", "letter": "score_Letter.pdf"}
SCORE_MUSICXML = "score.musicxml"
MIDI = "line.mid"
FOLLOW = "follow.json"
_NORMAL = PRINTS["normal"]


@dataclass(frozen=True)
class PartFiles:
    """Where the part is, its files, and what to know before playing from it."""

    folder: str
    files: tuple[str, ...]
    sentences: tuple[str, ...]


def make_part(folder: JobFolder, *, how: PartPrint = _NORMAL, progress: Progress = silent) -> PartFiles:
    """Engrave the newest line for the job's instrument, and as a score in concert pitch for the client.

    Parameters
    ----------
    how
        The print the player reads; the normal one is always made beside it.
    """
    folder.require_writable()
    song = song_map(folder, progress=part_of(progress, 0.0, 0.3))
    placed, job = current_line(folder), folder.job
    line, instrument, version = placed.line, instrument_of(folder), placed.version.version
    heading = Heading(
        title=job.brief.title,
        version=version,
        guide_sha256=job.guide.sha256,
        day=now().date(),
        player=job.brief.player,
    )
    part = lay_out_part(line, song, instrument, heading, words=sung_words(folder))
    score = lay_out_part(line, song, instrument, heading, words=sung_words(folder), concert=True)
    letters = [(part.grid.bar_to_beat(bar.number), bar.rehearsal) for bar in part.bars if bar.rehearsal]
    with folder.new_folder("part", f"v{version}") as (building, target):
        (building / MUSICXML).write_text(part_musicxml(part), encoding="utf-8")
        (building / SCORE_MUSICXML).write_text(part_musicxml(score), encoding="utf-8")
        program = instrument.gm_program
        write_midi(building / MIDI, line, part.grid, title=job.brief.title, program=program, markers=letters)
        layouts = dict(_printed(part, building, how, part_of(progress, 0.3, 0.8)))
        (building / FOLLOW).write_text(json.dumps(follow(part, layouts), ensure_ascii=False), encoding="utf-8")
        progress(0.8, "engraving the score in concert pitch")
        for paper, name in SCORE_PDFS.items():
            (building / name).write_bytes(layout_pdf(score, part_layout(score, paper=paper)))
    made = folder.made("part", target, from_key=part_key(folder), line_version=version)
    folder.save("part", f"part of line version {version} engraved", made=made)
    progress(1.0, "done")
    files = (*layouts, MUSICXML, *SCORE_PDFS.values(), SCORE_MUSICXML, MIDI, FOLLOW)
    wanted = next(iter(layouts.values()))
    sentences = (part.reading, part.first_note, *_about_stave(wanted), *_about_turns(wanted))
    return PartFiles(target, files, sentences)


def current_part(folder: JobFolder, *, progress: Progress = silent) -> str:
    """Folder of an engraved part of the newest line, made now if there is none."""
    current = folder.job.made_from("part", part_key(folder)) or make_part(folder, progress=progress)
    return current.folder


def _printed(part: Part, building: Path, how: PartPrint, progress: Progress) -> Iterator[tuple[str, Layout]]:
    """Every PDF of the part, the player's own print first, each with its name and where everything lies in it."""
    prints = [how] if how == _NORMAL else [how, _NORMAL]
    for share, one in enumerate(prints):
        progress(share / len(prints), f"engraving the {one.name} print")
        for paper, name in PDFS.items():
            layout = part_layout(part, paper=paper, how=one)
            own = name if one == _NORMAL else name.replace("part_", f"part_{_print_name(one)}_")
            (building / own).write_bytes(layout_pdf(part, layout))
            yield own, layout


def _print_name(how: PartPrint) -> str:
    return "own" if how.name == "normal" else how.name


def _about_stave(layout: Layout) -> tuple[str, ...]:
    """Said where the stave is smaller than the reader wanted."""
    wanted_mm = min(layout.how.staves_mm)
    if layout.stave_mm >= wanted_mm:
        return ()
    across = "" if layout.how.landscape else "; the sheet across has room for more"
    return (
        f"The stave is {layout.stave_mm:.1f} mm high instead of {wanted_mm:g}, so that every bar fits a row{across}.",
    )


def _about_turns(layout: Layout) -> tuple[str, ...]:
    """What a player must know of a part that lies on more sides than can be open at once."""
    if not layout.turns:
        return ()
    words = f"The part has {len(layout.sides)} sides; {SIDES} lie open at once."
    bad = [turn for turn in layout.turns if not turn.good]
    if not bad:
        shortest = min(turn.rest_s for turn in layout.turns)
        rest = "before or after all notes" if math.isinf(shortest) else f"with {shortest:.0f} s of rest or more"
        return (f"{words} Every page is turned {rest}.",)
    sides = ", ".join(str(turn.after_side) for turn in bad)
    return (
        f"{words} There is no time to turn after side {sides}: lay the next side beside it, or take smaller staves.",
    )
