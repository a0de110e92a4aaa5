"""The choice among a job's takes as it stands: by hand where the player chose, proposed elsewhere."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from pydantic import TypeAdapter

from obbligato.job.mapping import song_map
from obbligato.job.model import WHOLE_TAKE, TakeRef
from obbligato.job.reading import hear_all, heard_before, heard_keys
from obbligato.job.soloing import read_solo, solo_so_far
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.songmap import SongMap
from obbligato.progress import Progress, silent
from obbligato.takes.assess import choose_again
from obbligato.takes.choose import Wishes
from obbligato.takes.choose import choose as choose_by_readings
from obbligato.takes.free_choice import FreeReadings, choose_free
from obbligato.takes.place import Placement, stated_placement
from obbligato.takes.read import HeardTake, ReadTake, judge_takes
from obbligato.takes.readings import Assessment, Choice, TakeReading, TimedLine

EDIT_LIST = "choice.json"

_ASSESSMENT = TypeAdapter(Assessment)


@dataclass(frozen=True, eq=False)
class Proposal:
    """What is to be joined: the choice as it stands, by hand or proposed, and where the takes lie.

    Attributes
    ----------
    gains_db
        By path, what a take is made louder by.
    matching_db
        By path, the gain that would match a take to its neighbours, where it is another.
    """

    assessment: Assessment
    placements: Mapping[str, Placement]
    gains_db: Mapping[str, float] = field(default_factory=dict)
    matching_db: Mapping[str, float] = field(default_factory=dict)

    @property
    def coverage(self) -> str:
        """What has too few usable versions, as a sentence."""
        return self.assessment.coverage


@dataclass(frozen=True, eq=False)
class JudgedTakes:
    """Takes heard and judged beside one another; choosing among them anew is a matter of a moment."""

    song: SongMap
    line: TimedLine
    takes: tuple[ReadTake, ...]


def propose(folder: JobFolder, song: SongMap, *, progress: Progress = silent) -> Proposal:
    """The choice among all takes in use; those not heard before are listened to.

    Raises
    ------
    InputError
        When a take does not hold the line.
    """
    if not folder.job.lines:
        return _without_line(folder, song, progress)
    line = timed_line(current_line(folder).line, song.to_grid())
    heard = hear_all(folder, line, song, progress=progress)
    return choose_among(folder, _judged(folder, song, line, heard))


def judged_so_far(folder: JobFolder) -> JudgedTakes | None:
    """The takes heard so far, judged, without listening; None where none was, or where there is no line."""
    heard = heard_before(folder) if folder.job.lines else {}
    if not heard:
        return None
    song = song_map(folder)
    line = timed_line(current_line(folder).line, song.to_grid())
    return _judged(folder, song, line, tuple(heard.values()))


def choose_among(folder: JobFolder, judged: JudgedTakes) -> Proposal:
    """The choice among takes that were judged, the player's own choices kept."""
    paths = {take.path for take in judged.takes}
    gains_db = _gains_db(folder, paths)
    assessed = choose_again(
        judged.line,
        judged.takes,
        grid=judged.song.to_grid(),
        wishes=_wishes(folder, judged.line, paths),
        gains_db=gains_db,
    )
    return Proposal(assessed.assessment, assessed.placements, gains_db, assessed.matching_db)


def proposal_by_edit_list(folder: JobFolder) -> Proposal | None:
    """The choice by the readings in the newest comp's edit list, for when what was heard is not kept any more.

    The seams are known only if the choice is still the same. None where no comp was made.
    """
    last = folder.job.last_made("choose")
    if last is None or not folder.path(f"{last.folder}/{EDIT_LIST}").is_file():
        return None
    return _chosen_anew(folder, read_edit_list(folder, last.folder))


def edit_list(proposal: Proposal) -> str:
    """The choice as JSON, from which the comp can be rendered again."""
    words = {
        "gains_db": dict(proposal.gains_db),
        "matching_db": dict(proposal.matching_db),
        "placements": {path: asdict(placement) for path, placement in proposal.placements.items()},
        **_ASSESSMENT.dump_python(proposal.assessment, mode="json"),
    }
    return json.dumps(words, indent=1)


def read_edit_list(folder: JobFolder, comp: str) -> Proposal:
    """The choice that a comp was rendered from."""
    kept: dict[str, Any] = json.loads(folder.path(f"{comp}/{EDIT_LIST}").read_bytes())
    gains_db, matching_db = kept.pop("gains_db", {}), kept.pop("matching_db", {})
    placements = {path: Placement.from_words(words) for path, words in kept.pop("placements").items()}
    return Proposal(_ASSESSMENT.validate_python(kept), placements, gains_db, matching_db)


def _judged(folder: JobFolder, song: SongMap, line: TimedLine, heard: tuple[HeardTake, ...]) -> JudgedTakes:
    takes = judge_takes(line, heard, grid=song.to_grid(), instrument=instrument_of(folder), chords=song.chords)
    return JudgedTakes(song, line, takes)


def _chosen_anew(folder: JobFolder, kept: Proposal) -> Proposal:
    """The choice in force now, by the readings of an earlier one."""
    before = kept.assessment
    if not before.line.phrases or not folder.job.lines:
        return kept
    in_use = {take.file for take in folder.job.takes_in_use}
    readings = tuple(take for take in before.takes if take.path in in_use)
    if not readings:
        return kept
    choice = choose_by_readings(before.line, readings, _wishes(folder, before.line, {take.path for take in readings}))
    same = [c.take for c in choice] == [c.take for c in before.choice] and not any(c.pieces for c in before.choice)
    assessment = replace(before, takes=readings, choice=choice, seams=before.seams if same else ())
    return replace(kept, assessment=assessment)


def _wishes(folder: JobFolder, line: TimedLine, paths: set[str]) -> Wishes:
    """What the player wants, as far as it still points at phrases, and at takes that were read."""
    files = {take.number: take.file for take in folder.job.takes_in_use if take.file in paths}
    joining, n_phrases = folder.job.joining, len(line.phrases)
    return Wishes(
        joins=joining.joins,
        base=files.get(joining.base) if joining.base is not None else None,
        overrides={
            phrase - 1: files[take]
            for phrase, take in folder.job.overrides.items()
            if 1 <= phrase <= n_phrases and take in files
        },
        inside=frozenset(phrase - 1 for phrase in joining.inside if phrase <= n_phrases),
    )


def _gains_db(folder: JobFolder, paths: set[str]) -> dict[str, float]:
    gains_db = folder.job.joining.gains_db
    return {t.file: gains_db[t.number] for t in folder.job.takes_in_use if t.file in paths and t.number in gains_db}


def _without_line(folder: JobFolder, song: SongMap, progress: Progress) -> Proposal:
    """Without a line a lone take, or a whole one chosen by hand, is used as it is; others are compared."""
    take = whole_take(folder)
    if take is None:
        return choose_among_solos(folder, read_solo(folder, song, progress=progress))
    starts_s = take.starts_at_s or 0.0
    reading = TakeReading(take.file, offset_ms=1e3 * starts_s, drift_ppm=0.0, tuning_cents=0.0, phrases=())
    why = "The only take." if len(folder.job.takes_in_use) == 1 else "By hand."
    coverage = "There is no line, so nothing was read: the whole take is used."
    assessment = Assessment(TimedLine((), ()), (reading,), (Choice(0, take.file, why),), (), coverage=coverage)
    return Proposal(assessment, {take.file: stated_placement(starts_s)}, _gains_db(folder, {take.file}))


def whole_take(folder: JobFolder) -> TakeRef | None:
    """The one take that is used as a whole where there is no line: the only one, or the one chosen by hand."""
    takes = folder.job.takes_in_use
    number = folder.job.overrides.get(WHOLE_TAKE) if len(takes) > 1 else takes[0].number
    return next((take for take in takes if take.number == number), None)


def n_heard(folder: JobFolder) -> int:
    """How many takes in use need no more listening before a choice can be made."""
    takes = folder.job.takes_in_use
    if folder.job.lines:
        return len(heard_keys(folder))
    known = not takes or whole_take(folder) is not None or solo_so_far(folder) is not None
    return len(takes) if known else 0


def choose_among_solos(folder: JobFolder, read: FreeReadings) -> Proposal:
    """The choice among takes of a free solo that were read, the player's own choices kept."""
    places = {take.path: stated_placement(take.offset_ms / 1e3) for take in read.takes}
    wishes = _wishes(folder, read.line, set(places))
    assessment = choose_free(read, grid=song_map(folder).to_grid(), wishes=wishes)
    return Proposal(assessment, places, _gains_db(folder, set(places)))
