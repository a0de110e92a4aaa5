"""A new guide for a job under way: taken in beside the old one, compared with it, and gone by only on a yes."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter

from obbligato.errors import InputError
from obbligato.job.intake import guide_audio
from obbligato.job.mapping import map_key, song_map
from obbligato.job.model import GuideRef, OtherGuide
from obbligato.job.store import JobFolder, fingerprint, now
from obbligato.job.surviving import PhraseFate, phrase_fates
from obbligato.job.writing import current_line
from obbligato.listen.difference import Difference, compare_guides
from obbligato.listen.songmap import SongMap
from obbligato.page.difference_words import difference_sentences, stretch_sentence
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.files import read_audio, sha256_of, write_wav

COMPARER = 1
"""Grows whenever comparing finds something else in the same two files."""

_DIFFERENCE = TypeAdapter(Difference)


@dataclass(frozen=True)
class Change:
    """What happened to some bars of a section, in words; the bars are those of the old guide, if it has any."""

    kind: str
    first_bar: int | None
    last_bar: int | None
    sentence: str


@dataclass(frozen=True)
class SectionReport:
    """A section of the old guide (no letter before the first), and what happened in it."""

    section: str
    first_bar: int
    last_bar: int
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class TakeReport:
    """A take, and which phrases of it the new guide leaves good."""

    number: int
    given_as: str
    phrases_kept: tuple[int, ...]
    phrases_lost: tuple[int, ...]
    sentence: str


@dataclass(frozen=True)
class GuideReport:
    """A new guide beside the one in force."""

    given_as: str
    sha256: str
    against_sha256: str
    state: Literal["waiting", "left", "before"]
    sentences: tuple[str, ...]
    sections: tuple[SectionReport, ...]
    phrases: tuple[PhraseFate, ...]
    takes: tuple[TakeReport, ...]
    difference: Difference


def take_in_guide(folder: JobFolder, file: Path, *, progress: Progress = silent) -> OtherGuide:
    """Copy a guide in beside the one in force; one that is there already is not copied again.

    Raises
    ------
    InputError
        When the file cannot be read, or is the guide in force.
    """
    from obbligato.sound.formats import file_format

    folder.require_writable()
    audio = read_audio(file)
    sha256 = sha256_of(file)
    if sha256 == folder.job.guide.sha256:
        raise InputError(
            f"'{file.name}' is the guide that the job goes by already, byte for byte; nothing was changed."
        )
    known = next((other for other in folder.job.other_guides if other.guide.sha256 == sha256), None)
    if known is not None:
        return known
    progress(0.3, "copying the new guide in")
    bits = file_format(file).bit_depth
    number = 2 + len(folder.job.other_guides)
    with folder.new_folder("guide", f"v{number}") as (place, name):
        (place / "received").mkdir()
        shutil.copyfile(file, place / "received" / file.name)
        write_wav(place / "guide.wav", audio, bit_depth=24 if bits is not None and bits <= 24 else 32)
    guide = GuideRef(received=f"{name}/received/{file.name}", pcm=f"{name}/guide.wav", sha256=sha256)
    other = OtherGuide(guide=guide, at=now(), state="waiting")
    folder.save("map", f"new guide received as '{file.name}'", other_guides=(*folder.job.other_guides, other))
    return other


def compare_guide(folder: JobFolder, file: Path, *, progress: Progress = silent) -> GuideReport:
    """Take a new guide in and tell what it does to the song, the line and the takes; the job goes on by the old one.

    Raises
    ------
    InputError
        As `take_in_guide`, and when the guide in force or its map cannot be had.
    """
    other = take_in_guide(folder, file, progress=part_of(progress, 0.0, 0.1))
    return guide_report(folder, other.guide.sha256, progress=part_of(progress, 0.1, 1.0))


def other_guide(folder: JobFolder, sha256: str) -> OtherGuide:
    """One of the guides beside the one in force.

    Raises
    ------
    InputError
        When there is none with that fingerprint.
    """
    other = next((one for one in folder.job.other_guides if one.guide.sha256 == sha256), None)
    if other is None:
        raise InputError("There is no such guide beside the one in force; give the file of it again.")
    return other


def leave_guide(folder: JobFolder, sha256: str) -> None:
    """Put a guide aside: the job goes on by the one in force."""
    other = other_guide(folder, sha256)
    if other.state == "waiting":
        set_aside = other.model_copy(update={"state": "left"})
        others = tuple(set_aside if one == other else one for one in folder.job.other_guides)
        folder.save("map", f"new guide '{other.guide.given_as}' left aside", other_guides=others)


def guide_report(folder: JobFolder, sha256: str, *, progress: Progress = silent) -> GuideReport:
    """What another guide does to the song, the line and the takes; compared once and kept."""
    other = other_guide(folder, sha256)
    song = song_map(folder, progress=part_of(progress, 0.0, 0.3))
    difference = guide_difference(folder, other, song, progress=part_of(progress, 0.3, 1.0))
    phrases: tuple[PhraseFate, ...] = ()
    if folder.job.lines:
        phrases = phrase_fates(current_line(folder).line, song.to_grid(), difference)
    return GuideReport(
        given_as=other.guide.given_as,
        sha256=sha256,
        against_sha256=folder.job.guide.sha256,
        state=other.state,
        sentences=(*difference_sentences(difference), *_line_sentences(phrases)),
        sections=_by_section(difference),
        phrases=phrases,
        takes=_take_reports(folder, phrases, song),
        difference=difference,
    )


def difference_is_ready(folder: JobFolder, sha256: str) -> bool:
    """Whether `guide_report` can be had without comparing."""
    return folder.cached(_difference_key(folder, sha256)) is not None


def guide_difference(
    folder: JobFolder, other: OtherGuide, song: SongMap, *, progress: Progress = silent
) -> Difference:
    """Another guide beside the one in force, compared once and kept."""
    key = _difference_key(folder, other.guide.sha256)
    kept = folder.cached(key)
    if kept is not None:
        return _DIFFERENCE.validate_json(kept)
    new = read_audio(folder.path(other.guide.pcm))
    difference = compare_guides(guide_audio(folder), song, new, progress=progress)
    folder.keep(key, json.dumps(_DIFFERENCE.dump_python(difference, mode="json")).encode())
    folder.note("map", f"compared the guide '{other.guide.given_as}' with the one in force")
    return difference


def _difference_key(folder: JobFolder, sha256: str) -> str:
    return f"difference-{fingerprint(COMPARER, map_key(folder), sha256)}.json"


def _by_section(difference: Difference) -> tuple[SectionReport, ...]:
    """The changes in the order of the song, drawn together by section."""
    sections: list[SectionReport] = []
    for stretch in difference.stretches:
        first, last = stretch.old_bars or (None, None)
        change = Change(stretch.kind, first, last, stretch_sentence(stretch, rate=difference.old_rate))
        if sections and sections[-1].section == stretch.section:
            before = sections[-1]
            sections[-1] = SectionReport(
                before.section,
                before.first_bar,
                max(before.last_bar, last or before.last_bar),
                (*before.changes, change),
            )
        else:
            at = first if first is not None else _bar_before(difference, stretch.section)
            sections.append(SectionReport(stretch.section, at, last if last is not None else at, (change,)))
    return tuple(sections)


def _bar_before(difference: Difference, section: str) -> int:
    """The first bar of a section that begins with bars put in."""
    return next((s.old_bars[0] for s in difference.stretches if s.section == section and s.old_bars), 1)


def _line_sentences(phrases: tuple[PhraseFate, ...]) -> list[str]:
    """What of the line stays, moves, or has to be looked at."""
    words = {
        "stays": "as it is",
        "moves": "at other bars",
        "look": "to be looked at against the new sound",
        "transpose": "to go into the other key",
        "write anew": "to be written anew",
        "gone": "without bars of their own any more",
    }
    said = [
        f"{_phrases([p.phrase for p in phrases if p.line == fate])} {how}"
        for fate, how in words.items()
        if any(p.line == fate for p in phrases)
    ]
    return [f"The line: {'; '.join(said)}."] if said else []


def _take_reports(folder: JobFolder, phrases: tuple[PhraseFate, ...], song: SongMap) -> tuple[TakeReport, ...]:
    """Each take in use with the phrases of it that stay good."""
    reports = []
    grid = song.to_grid()
    for take in folder.job.takes_in_use:
        start_s = take.starts_at_s
        end_s = None if start_s is None else start_s + take.frames / take.sample_rate
        held = [
            p
            for p in phrases
            if start_s is None
            or end_s is None
            or (grid.bar_to_sec(p.last_bar) >= start_s and grid.bar_to_sec(p.first_bar) <= end_s)
        ]
        kept = tuple(p.phrase for p in held if p.takes in {"stays", "moves", "look"})
        lost = tuple(p.phrase for p in held if p.takes in {"record anew", "gone"})
        look = " Listen to it against the new sound." if any(p.takes == "look" for p in held) else ""
        if not held:
            said = "holds no phrase of the line."
        elif not lost:
            said = f"stays good.{look}"
        elif not kept:
            said = "does not go with the new guide."
        else:
            said = f"stays good for {_phrases(list(kept))}, not for {_phrases(list(lost))}.{look}"
        sentence = f"Take {take.number} ('{take.given_as}') {said}"
        reports.append(TakeReport(take.number, take.given_as, kept, lost, sentence))
    return tuple(reports)


def _phrases(numbers: list[int]) -> str:
    """`phrase 2`, `phrases 1 to 3 and 5`."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    text = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{'phrase' if len(numbers) == 1 else 'phrases'} {text}"
