"""Choosing: every take read, a comp proposed, the player's overrides kept, and the comp rendered."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.keys import choice_key
from obbligato.job.mapping import song_map
from obbligato.job.sheet import take_sheet
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav
from obbligato.takes.assess import AssessedTakes, assess_takes
from obbligato.takes.join import join
from obbligato.takes.place import Placement, stated_placement
from obbligato.takes.readings import Assessment, Choice, TakeReading, TimedLine
from obbligato.units import midi_to_hz

CHOICE, COMP, SHEET = "choice.json", "comp.wav", "take-sheet.pdf"
INTEGER_DEPTH, FLOAT_DEPTH = 24, 32

_ASSESSMENT = TypeAdapter(Assessment)


@dataclass(frozen=True, eq=False)
class Comp:
    """The chosen takes joined, on the guide's time and at its length.

    Attributes
    ----------
    folder
        Where it lies in the job.
    given_as
        By take as the assessment names it, the name of the file as it was given.
    lowest_hz
        Frequency of the line's lowest note; None without a line.
    """

    folder: str
    audio: Audio
    assessment: Assessment
    coverage: str
    given_as: Mapping[str, str]
    lowest_hz: float | None


def set_overrides(folder: JobFolder, chosen: Mapping[int, int], *, clear: bool = False) -> None:
    """Keep the player's own choices: by phrase (from 1), the number of a take.

    Raises
    ------
    InputError
        When there is no such phrase or take.
    """
    n_phrases = len(current_line(folder).line.phrases) if folder.job.lines else 1
    numbers = [take.number for take in folder.job.takes_in_use]
    for phrase, take in chosen.items():
        if not 1 <= phrase <= n_phrases:
            raise InputError(f"There is no phrase {phrase}; the line has phrases 1 to {n_phrases}.")
        if take not in numbers:
            raise InputError(f"There is no take {take}; the job has {_numbers_in_words(numbers)}.")
    overrides = {**({} if clear else folder.job.overrides), **chosen}
    words = ", ".join(f"take {take} for phrase {phrase}" for phrase, take in sorted(chosen.items()))
    folder.save("choose", words or "choices by hand forgotten", overrides=overrides)


def choose(folder: JobFolder, *, progress: Progress = silent) -> Comp:
    """The comp for the job as it stands; read, chosen and rendered only if that has not been done before.

    Raises
    ------
    InputError
        When there is no take, a take does not hold the line, or several takes have no line to be compared by.
    """
    if not folder.job.takes_in_use:
        raise InputError("This job has no takes to choose from; add some with: obbligato takes JOB add FILE...")
    kept = folder.job.made_from("choose", choice_key(folder))
    if kept is not None:
        return _kept(folder, kept.folder)
    folder.require_writable()
    song = song_map(folder, progress=part_of(progress, 0.0, 0.2))
    guide = guide_audio(folder)
    takes = {take.file: read_audio(folder.path(take.file)) for take in folder.job.takes_in_use}
    if folder.job.lines:
        assessed = _by_line(folder, song, guide, takes, part_of(progress, 0.2, 0.8))
        assessment, placements, coverage = assessed.assessment, assessed.placements, assessed.coverage
    else:
        assessment, placements, coverage = _whole_take(folder)
    joined = join(
        takes,
        placements,
        assessment.choice,
        assessment.seams,
        n_samples=guide.n_samples,
        sr=guide.sr,
        progress=part_of(progress, 0.8, 0.95),
    )
    number = sum(made.stage == "choose" for made in folder.job.made) + 1
    name = f"comp_{number:02d}"
    with folder.new_folder("comp", name) as (building, target):
        edit_list = {
            "coverage": coverage,
            "placements": {path: vars(placement) for path, placement in placements.items()},
            **_ASSESSMENT.dump_python(assessment, mode="json"),
        }
        (building / CHOICE).write_text(json.dumps(edit_list, indent=1), encoding="utf-8")
        write_wav(building / COMP, joined.audio, bit_depth=lossless_depth(joined.audio))
        if assessment.line.phrases:
            (building / SHEET).write_bytes(take_sheet(folder, assessment, song.to_grid()))
    made = folder.made("choose", target, from_key=choice_key(folder))
    folder.save("choose", f"comp {number} rendered", made=made)
    progress(1.0, "comp rendered")
    return _kept(folder, target)


def lossless_depth(audio: Audio) -> int:
    """24 bits; 32-bit float for a take (decoded from a lossy file, say) that itself passes full scale."""
    return INTEGER_DEPTH if np.max(np.abs(audio.y), initial=0.0) <= 1.0 else FLOAT_DEPTH


def _by_line(
    folder: JobFolder, song: SongMap, guide: Audio, takes: Mapping[str, Audio], progress: Progress
) -> AssessedTakes:
    grid = song.to_grid()
    refs = folder.job.takes_in_use
    files = {take.number: take.file for take in refs}
    line = timed_line(current_line(folder).line, grid)
    overrides = folder.job.overrides
    try:
        return assess_takes(
            line,
            list(takes.items()),
            guide=guide,
            a4_hz=song.tuning.a4_hz,
            grid=grid,
            instrument=instrument_of(folder),
            starts_s={take.file: take.starts_at_s for take in refs if take.starts_at_s is not None},
            overrides={
                phrase - 1: files[take]
                for phrase, take in overrides.items()
                if phrase <= len(line.phrases) and take in files
            },
            progress=progress,
        )
    except InputError as error:
        raise _in_the_jobs_words(error, folder) from error


def _in_the_jobs_words(error: InputError, folder: JobFolder) -> InputError:
    """A refusal of one take, with the take's number and how to go on without it."""
    text, newest = str(error), folder.job.lines[-1].version
    for take in folder.job.takes_in_use:
        path = f"'{take.file}': "
        if text.startswith(path):
            older = f" It was played to line version {take.line_version}." if take.line_version != newest else ""
            return InputError(
                f"Take {take.number} ('{take.given_as}'): {text.removeprefix(path)}{older} "
                f"To go on without it: obbligato takes JOB leave-out {take.number}"
            )
    return error


def _whole_take(folder: JobFolder) -> tuple[Assessment, dict[str, Placement], str]:
    """Without a line there is nothing to compare takes by: one take is used as it is."""
    takes = folder.job.takes_in_use
    number = folder.job.overrides.get(1) if len(takes) > 1 else takes[0].number
    take = next((take for take in takes if take.number == number), None)
    if take is None:
        raise InputError(
            "Without a line the takes cannot be compared; name the one to use with --phrase 1 --take N, "
            "or add the line with: obbligato line JOB FILE.mid"
        )
    starts_s = take.starts_at_s or 0.0
    reading = TakeReading(take.file, offset_ms=1e3 * starts_s, drift_ppm=0.0, tuning_cents=0.0, phrases=())
    why = "The only take." if len(takes) == 1 else "By hand."
    assessment = Assessment(TimedLine((), ()), (reading,), (Choice(0, take.file, why),), ())
    coverage = "There is no line, so nothing was read: the whole take is used."
    return assessment, {take.file: stated_placement(starts_s)}, coverage


def _kept(folder: JobFolder, comp: str) -> Comp:
    """A comp rendered before, as it lies on the disk."""
    kept: dict[str, Any] = json.loads(folder.path(f"{comp}/{CHOICE}").read_bytes())
    coverage = kept.pop("coverage")
    kept.pop("placements")
    assessment = _ASSESSMENT.validate_python(kept)
    pitches = [note.midi for note in assessment.line.notes]
    return Comp(
        folder=comp,
        audio=read_audio(folder.path(f"{comp}/{COMP}")),
        assessment=assessment,
        coverage=coverage,
        given_as={take.file: Path(take.given_as).name for take in folder.job.takes},
        lowest_hz=float(midi_to_hz(min(pitches))) if pitches else None,
    )


def _numbers_in_words(numbers: list[int]) -> str:
    return f"takes {', '.join(map(str, numbers))}" if numbers else "no takes yet"
