"""Going by another guide: nothing made for the one before is lost, and what can be carried over is.

Findings and corrections of the guide before are kept under its fingerprint, and come back with it. Corrections that
name a moment are carried to where that moment is in the new guide; the line is carried to its bars as a new version.
What else was made stays where it is, and is stale by its key.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.line_marks import marks_bytes, marks_file
from obbligato.job.mapping import CORRECTIONS, EARLIER_CORRECTIONS, FINDINGS, corrections, song_map
from obbligato.job.model import Corrections, LineVersion, OtherGuide, TakeRef
from obbligato.job.new_guide import guide_difference, other_guide
from obbligato.job.store import JobFolder, now
from obbligato.job.surviving import carried_grid, carried_line, new_time_s, semitones, stretch_of_bar
from obbligato.job.writing import current_line, instrument_of
from obbligato.listen.difference import Difference
from obbligato.listen.songmap import SongMap
from obbligato.music.chord_names import chord_label
from obbligato.music.harmony import transpose_key
from obbligato.music.line import Line
from obbligato.music.marking import settled
from obbligato.music.midi import midi_bytes
from obbligato.music.phrases import find_phrases
from obbligato.progress import Progress, silent
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.files import sha256_of

KEPT = "guide/kept"
_FILES = (FINDINGS, CORRECTIONS, EARLIER_CORRECTIONS)


@dataclass(frozen=True)
class TakenOver:
    """What going by the new guide has done, in sentences."""

    given_as: str
    sentences: tuple[str, ...]


def take_over_guide(folder: JobFolder, sha256: str, *, progress: Progress = silent) -> TakenOver:
    """Let the job go by another guide that was taken in.

    Raises
    ------
    InputError
        When there is no such guide, or nothing of the song is in it.
    """
    folder.require_writable()
    other = other_guide(folder, sha256)
    before, song = folder.job.guide, song_map(folder, progress=progress)
    difference = guide_difference(folder, other, song, progress=progress)
    if not any(stretch.old and stretch.new for stretch in difference.stretches):
        raise InputError(
            f"Nothing of the song was found in '{other.guide.given_as}'; start a new job with it: obbligato new"
        )
    fixes = carried_corrections(corrections(folder), song, difference)
    line = _line_for(folder, song, difference, sha256)
    takes = tuple(_take_for(take, difference) for take in folder.job.takes)
    _keep_aside(folder, before.sha256)
    gone_by = OtherGuide(guide=before, at=now(), state="before")
    others = (*(one for one in folder.job.other_guides if one != other), gone_by)
    lines = (*folder.job.lines, line) if line else folder.job.lines
    changes = {"guide": other.guide, "other_guides": others, "takes": takes, "lines": lines}
    folder.save("map", f"goes by the guide '{other.guide.given_as}' from now on", **changes)
    came_back = _bring_back(folder, sha256)
    if not came_back and fixes != Corrections():
        write_bytes_at_once(folder.path(CORRECTIONS), fixes.model_dump_json(indent=2).encode(), overwrite=True)
    sentences = [f"The job goes by '{other.guide.given_as}' now; '{before.given_as}' is kept beside it."]
    if line:
        sentences.append(f"The line was carried over to its bars there, as version {line.version}.")
    if before.vocal:
        sentences.append(
            "The singer's own track was of the guide before; ask for the new one if the singing changed."
        )
    return TakenOver(other.guide.given_as, tuple(sentences))


def carried_corrections(fixes: Corrections, song: SongMap, difference: Difference) -> Corrections:
    """What was put right, at its places in the new guide; what lies in bars taken out is left behind."""
    grid = song.to_grid()

    def at(seconds: float) -> float | None:
        return new_time_s(difference, seconds)

    keys = []
    for key in fixes.keys:
        stretch = stretch_of_bar(difference, key.from_bar)
        if stretch and stretch.old_bars and stretch.new_bars:
            bar = key.from_bar + stretch.new_bars[0] - stretch.old_bars[0]
            tonic = transpose_key(key.tonic, key.mode, semitones(stretch))
            keys.append(key.model_copy(update={"from_bar": bar, "tonic": tonic}))
    chords = []
    for chord in fixes.chords:
        at_s, stretch = at(chord.at_s), stretch_of_bar(difference, grid.position_at(chord.at_s).bar)
        if at_s is not None and stretch:
            label = chord_label(chord.label, semitones(stretch))
            chords.append(chord.model_copy(update={"at_s": at_s, "label": label}))
    sections = [
        section.model_copy(update={"at_s": at_s})
        for section in fixes.sections
        if (at_s := at(section.at_s)) is not None
    ]
    singer = [
        sung.model_copy(update={"start_s": start_s, "end_s": end_s})
        for sung in fixes.singer
        if (start_s := at(sung.start_s)) is not None and (end_s := at(sung.end_s)) is not None and end_s > start_s
    ]
    words = [line.model_copy(update={"at_s": at_s}) for line in fixes.words if (at_s := at(line.at_s)) is not None]
    taps = tuple(tap for tapped in fixes.tapped_s if (tap := at(tapped)) is not None)
    return fixes.model_copy(
        update={
            "bpm": None if fixes.bpm is None else fixes.bpm * difference.tempo_ratio,
            "bar_1_s": None if fixes.bar_1_s is None else at(fixes.bar_1_s),
            "tapped_s": taps if len(taps) == len(fixes.tapped_s) else (),
            "keys": tuple(keys),
            "chords": tuple(chords),
            "sections": tuple(sections),
            "singer": tuple(singer),
            "words": tuple(words),
        }
    )


def _line_for(folder: JobFolder, song: SongMap, difference: Difference, sha256: str) -> LineVersion | None:
    """The newest line as a new version at its places in the new guide; None where it lies there as it is."""
    if not folder.job.lines:
        return None
    placed, grid = current_line(folder), song.to_grid()
    notes = carried_line(placed.line, grid, difference)
    in_place = all(s.kind in {"identical", "level", "re-sung"} for s in difference.stretches)
    by_bars = placed.version.start == "bar-1" and notes == placed.line.notes
    if in_place or by_bars or not notes:
        return None
    there = carried_grid(grid, difference)
    kept = tuple(note for note in notes if float(there.beat_to_sec(note.onset_beat)) >= 0.0)
    line = Line(settled(kept), find_phrases(kept, there))
    data = midi_bytes(line, there, title=folder.job.brief.title, program=instrument_of(folder).gm_program)
    number = len(folder.job.lines) + 1
    file = f"line/v{number}.mid"
    folder.add_file(file, data)
    marks = marks_bytes(line.notes)
    if marks is not None:
        folder.add_file(marks_file(file), marks)
    return LineVersion(
        version=number,
        file=file,
        sha256=sha256_of(folder.path(file)),
        given_as=f"version {placed.version.version}, carried over to the new guide",
        start="guide",
        guide_sha256=sha256,
    )


def _take_for(take: TakeRef, difference: Difference) -> TakeRef:
    """A take whose place was stated, stated for the new guide; it is found by listening where the place is gone."""
    if take.starts_at_s is None:
        return take
    middle_s = take.starts_at_s + 0.5 * take.frames / take.sample_rate
    there_s = new_time_s(difference, middle_s)
    moved = None if there_s is None else take.starts_at_s + there_s - middle_s
    return take.model_copy(update={"starts_at_s": moved})


def _kept(folder: JobFolder, sha256: str, file: str) -> Path:
    return folder.path(f"{KEPT}/{sha256[:12]}/{Path(file).name}")


def _keep_aside(folder: JobFolder, sha256: str) -> None:
    for file in _FILES:
        if folder.path(file).exists():
            place = _kept(folder, sha256, file)
            place.parent.mkdir(parents=True, exist_ok=True)
            write_bytes_at_once(place, folder.path(file).read_bytes(), overwrite=True)


def _bring_back(folder: JobFolder, sha256: str) -> bool:
    """Put findings and corrections of a guide in force; those of the one before were kept. Whether there were any."""
    for file in _FILES:
        place = _kept(folder, sha256, file)
        if place.exists():
            write_bytes_at_once(folder.path(file), place.read_bytes(), overwrite=True)
        else:
            folder.path(file).unlink(missing_ok=True)
    return _kept(folder, sha256, FINDINGS).exists()
