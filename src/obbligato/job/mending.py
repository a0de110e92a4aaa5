"""Mending takes on request: listed, reversible, made from the take as received whenever it is read or joined.

Nothing is mended unasked, and a take's file is never changed. What a mend did is measured when it is made; both the
mended sound and the measures are kept in the cache, which may be deleted.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.job.hearing import job_click
from obbligato.job.intake import guide_audio
from obbligato.job.keys import mended_key
from obbligato.job.mapping import song_map
from obbligato.job.mends import Mend, in_order, parse_mend
from obbligato.job.model import TakeRef
from obbligato.job.repairing import Repairing
from obbligato.job.store import JobFolder
from obbligato.job.timing import timed_line
from obbligato.job.writing import current_line
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio
from obbligato.sound.wav import wav_bytes


@dataclass(frozen=True)
class MendedTake:
    """What is mended in a take: each thing as the job keeps it, with a sentence on what it did."""

    take: int
    mends: tuple[str, ...]
    sentences: tuple[str, ...]


def mended_audio(folder: JobFolder, take: TakeRef) -> Audio:
    """A take as it is to be read and joined: as received, or with what the player wants mended in it.

    Raises
    ------
    InputError
        When it cannot be read, or the line or the map has changed so that something cannot be mended any more.
    """
    if not folder.job.mended.get(take.number):
        return read_audio(folder.path(take.file))
    return read_audio(folder.path(f".cache/{_made(folder, take)}.wav"))


def list_mends(folder: JobFolder, number: int | None = None) -> tuple[MendedTake, ...]:
    """What is mended, by take; takes in which nothing is are left out.

    Raises
    ------
    InputError
        When there is no such take.
    """
    takes = folder.job.takes if number is None else (_take(folder, number),)
    return tuple(_told(folder, take) for take in takes if folder.job.mended.get(take.number))


def mends_so_far(folder: JobFolder, take: TakeRef) -> tuple[tuple[str, str], ...]:
    """What is mended in a take, each with what it did; without the latter where that is not kept any more."""
    texts = folder.job.mended.get(take.number, ())
    facts = folder.cached(f"mended-{mended_key(folder, take)}.json") if texts else None
    told = json.loads(facts) if facts is not None else [""] * len(texts)
    return tuple(zip(texts, told, strict=True))


def mend(
    folder: JobFolder, number: int, what: str, *, phrase: int | None = None, progress: Progress = silent
) -> MendedTake:
    """Mend one thing in a take. It is made at once, and kept only if that can be done.

    Raises
    ------
    InputError
        When there is no such take or phrase, nothing to mend, or no line by which to find it.
    """
    folder.require_writable()
    take, new = _take(folder, number), parse_mend(what, phrase=phrase)
    mends = [old for old in _mends(folder, number) if old.replaces != new.replaces]
    progress(0.1, f"mending take {number}")
    before = folder.job
    texts = tuple(map(str, in_order((*mends, new))))
    folder.job = before.model_copy(update={"mended": {**before.mended, number: texts}})
    try:
        _made(folder, take)
    finally:
        folder.job = before
    folder.save("takes", f"take {number} mended: {new}", mended={**before.mended, number: texts})
    progress(1.0, "mended")
    return _told(folder, take)


def undo_mend(folder: JobFolder, number: int, what: str | None = None, *, phrase: int | None = None) -> None:
    """Take one mend back, or, with no `what`, all of a take's.

    Raises
    ------
    InputError
        When that is not mended.
    """
    _take(folder, number)
    kept = _mends(folder, number)
    if what is None:
        left: tuple[Mend, ...] = ()
    else:
        name = what.partition("=")[0].strip()
        left = tuple(old for old in kept if (old.kind, old.phrase) != (name, phrase))
    if len(left) == len(kept):
        there = ", ".join(map(str, kept)) or "nothing"
        raise InputError(f"That is not mended in take {number}; mended there: {there}.")
    mended = {**folder.job.mended, number: tuple(map(str, left))}
    folder.save(
        "takes",
        f"take {number} no longer mended: {what or 'all'}" + (f" phrase {phrase}" if phrase is not None else ""),
        mended={take: mends for take, mends in mended.items() if mends},
    )


def _take(folder: JobFolder, number: int) -> TakeRef:
    take = next((take for take in folder.job.takes if take.number == number), None)
    if take is None:
        raise InputError(f"There is no take {number}; see them with: obbligato takes JOB")
    return take


def _mends(folder: JobFolder, number: int) -> tuple[Mend, ...]:
    return tuple(parse_mend(text) for text in folder.job.mended.get(number, ()))


def _told(folder: JobFolder, take: TakeRef) -> MendedTake:
    facts = json.loads(folder.path(f".cache/{_made(folder, take)}.json").read_bytes())
    return MendedTake(take.number, folder.job.mended[take.number], tuple(facts))


def _made(folder: JobFolder, take: TakeRef) -> str:
    """The name under which the mended take lies in the cache; it is made if it does not."""
    name = f"mended-{mended_key(folder, take)}"
    if folder.cached(f"{name}.wav") is not None and folder.cached(f"{name}.json") is not None:
        return name
    repairing = _repairing(folder, take)
    sentences = []
    for one in in_order(_mends(folder, take.number)):
        try:
            sentences.append(repairing.make(one))
        except InputError as error:
            raise InputError(f"Take {take.number}, {one}: {error}") from None
    folder.keep(f"{name}.wav", wav_bytes(repairing.audio, bit_depth=32))
    folder.keep(f"{name}.json", json.dumps(sentences).encode())
    return name


def _repairing(folder: JobFolder, take: TakeRef) -> Repairing:
    song = song_map(folder)
    line = timed_line(current_line(folder).line, song.to_grid()) if folder.job.lines else None
    audio = read_audio(folder.path(take.file))
    return Repairing(
        audio, line, song=song, guide=guide_audio(folder), click=job_click(folder), start_s=take.starts_at_s
    )
