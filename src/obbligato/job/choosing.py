"""Choosing: every take read, a comp proposed, the player's overrides kept, and the comp rendered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from obbligato.errors import InputError
from obbligato.job.choice_text import TEXT, choice_text
from obbligato.job.intake import require_same_guide
from obbligato.job.keys import choice_key
from obbligato.job.mapping import song_map
from obbligato.job.mending import mended_audio
from obbligato.job.proposing import EDIT_LIST, Proposal, edit_list, propose, read_edit_list
from obbligato.job.sheet import take_sheet
from obbligato.job.store import JobFolder
from obbligato.music.grid import Grid
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav
from obbligato.takes.join import join
from obbligato.takes.readings import Assessment
from obbligato.takes.seam_reel import seam_reel
from obbligato.units import midi_to_hz

COMP, SHEET, SEAMS = "comp.wav", "take-sheet.pdf", "seams.wav"
INTEGER_DEPTH, FLOAT_DEPTH = 24, 32


@dataclass(frozen=True, eq=False)
class Comp:
    """The chosen takes joined, on the guide's time and at its length.

    Attributes
    ----------
    folder
        Where it lies in the job.
    gains_db, matching_db
        By take as the assessment names it, the gain it was joined with, and the one that would match it.
    given_as
        By take as the assessment names it, the name of the file as it was given.
    lowest_hz
        Frequency of the line's lowest note; None without a line.
    """

    folder: str
    audio: Audio
    assessment: Assessment
    coverage: str
    gains_db: Mapping[str, float]
    matching_db: Mapping[str, float]
    given_as: Mapping[str, str]
    lowest_hz: float | None


def choose(folder: JobFolder, *, progress: Progress = silent) -> Comp:
    """The comp for the job as it stands; read, chosen and rendered only if that has not been done before.

    Raises
    ------
    InputError
        When there is no take, a take does not hold the line, or no note is heard in takes without one.
    """
    return _kept(folder, render(folder, progress=progress))


def render(folder: JobFolder, *, progress: Progress = silent) -> str:
    """Have the comp rendered for the job as it stands, and tell the folder inside the job in which it lies.

    Only takes not heard before are listened to, and a comp of the same choice is not rendered twice.

    Raises
    ------
    InputError
        As `choose`.
    """
    if not folder.job.takes_in_use:
        raise InputError("This job has no takes to choose from; add some with: obbligato takes JOB add FILE...")
    key = choice_key(folder)
    kept = folder.job.made_from("choose", key)
    if kept is not None:
        return kept.folder
    folder.require_writable()
    earlier = _rendered_before(folder, key)
    if earlier is not None:
        made = folder.made("choose", earlier, from_key=key)
        folder.save("choose", f"back to {earlier}", made=made)
        return earlier
    song = song_map(folder, progress=part_of(progress, 0.0, 0.2))
    require_same_guide(folder)
    proposal = propose(folder, song, progress=part_of(progress, 0.2, 0.8))
    assessment = proposal.assessment
    joined = join(
        {take.file: partial(mended_audio, folder, take) for take in folder.job.takes_in_use},
        proposal.placements,
        assessment.choice,
        assessment.seams,
        n_samples=song.source.frames,
        sr=song.source.sample_rate,
        line=assessment.line if assessment.line.notes else None,
        gains_db=proposal.gains_db,
        progress=part_of(progress, 0.8, 0.95),
    )
    number = len({made.folder for made in folder.job.made if made.stage == "choose"}) + 1
    with folder.new_folder("comp", f"comp_{number:02d}") as (building, target):
        measured = replace(proposal, assessment=replace(assessment, seams=joined.seams))
        _write(
            building, folder, measured, joined.audio, song.to_grid(), title=f"{folder.job.brief.title}: comp {number}"
        )
    made = folder.made("choose", target, from_key=key)
    folder.save("choose", f"comp {number} rendered", made=made)
    progress(1.0, "comp rendered")
    return target


def _write(building: Path, folder: JobFolder, proposal: Proposal, comp: Audio, grid: Grid, *, title: str) -> None:
    """The comp with all that goes with it: its seams to listen to, and the choice as JSON, as text and as a sheet."""
    assessment = proposal.assessment
    (building / EDIT_LIST).write_text(edit_list(proposal), encoding="utf-8")
    write_wav(building / COMP, comp, bit_depth=lossless_depth(comp))
    if assessment.seams:
        reel = seam_reel(comp, assessment.seams)
        write_wav(building / SEAMS, reel, bit_depth=lossless_depth(reel))
    if assessment.line.phrases:
        (building / TEXT).write_text(choice_text(proposal, grid, title=title), encoding="utf-8")
        (building / SHEET).write_bytes(take_sheet(folder, assessment, grid))


def lossless_depth(audio: Audio) -> int:
    """24 bits; 32-bit float for a take (decoded from a lossy file, say) that itself passes full scale."""
    return INTEGER_DEPTH if np.max(np.abs(audio.y), initial=0.0) <= 1.0 else FLOAT_DEPTH


def _rendered_before(folder: JobFolder, key: str) -> str | None:
    """An older comp of the same takes, line, map and choices by hand, if it is still there."""
    return next(
        (
            made.folder
            for made in reversed(folder.job.made)
            if made.stage == "choose" and made.from_key == key and folder.path(f"{made.folder}/{COMP}").is_file()
        ),
        None,
    )


def _kept(folder: JobFolder, comp: str) -> Comp:
    """A comp rendered before, as it lies on the disk."""
    kept = read_edit_list(folder, comp)
    pitches = [note.midi for note in kept.assessment.line.notes]
    return Comp(
        folder=comp,
        audio=read_audio(folder.path(f"{comp}/{COMP}")),
        assessment=kept.assessment,
        coverage=kept.coverage,
        gains_db=kept.gains_db,
        matching_db=kept.matching_db,
        given_as={take.file: Path(take.given_as).name for take in folder.job.takes},
        lowest_hz=float(midi_to_hz(min(pitches))) if pitches else None,
    )
