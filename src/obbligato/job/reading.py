"""The takes of a job as heard: each listened to once, and kept for as long as what it was heard against stands."""

from __future__ import annotations

from functools import partial

from obbligato.errors import InputError
from obbligato.job.hearing import job_click
from obbligato.job.intake import guide_audio
from obbligato.job.keys import line_key
from obbligato.job.mending import mended_audio
from obbligato.job.model import TakeRef
from obbligato.job.store import JobFolder, fingerprint
from obbligato.listen.songmap import SongMap
from obbligato.progress import Progress, silent
from obbligato.takes.kept import READER, heard_from_bytes, heard_to_bytes
from obbligato.takes.read import HeardTake, hear_takes
from obbligato.takes.readings import TimedLine


def heard_before(folder: JobFolder) -> dict[int, HeardTake]:
    """By number, in their order, the takes in use that need no listening, for they were heard against this line."""
    heard = {}
    for number, key in heard_keys(folder).items():
        data = folder.cached(key)
        kept = heard_from_bytes(data) if data is not None else None
        if kept is not None:
            heard[number] = kept
    return heard


def heard_keys(folder: JobFolder) -> dict[int, str]:
    """By number, under which key each take in use that was heard against this line is kept."""
    line = line_key(folder)
    keys = {take.number: _key(folder, line, take) for take in folder.job.takes_in_use}
    return {number: key for number, key in keys.items() if folder.path(f".cache/{key}").is_file()}


def hear_all(
    folder: JobFolder, line: TimedLine, song: SongMap, *, progress: Progress = silent
) -> tuple[HeardTake, ...]:
    """All takes in use; only those that were not heard before are listened to, and each is kept as soon as it was.

    Raises
    ------
    InputError
        When a take does not hold the line; the message names the take and how to go on without it.
    """
    known = heard_before(folder)
    new = [take for take in folder.job.takes_in_use if take.number not in known]
    on_disk = line_key(folder)
    try:
        heard = hear_takes(
            line,
            [(take.file, partial(mended_audio, folder, take)) for take in new],
            guide=guide_audio(folder) if new else None,
            click=job_click(folder) if new else None,
            a4_hz=song.tuning.a4_hz,
            grid=song.to_grid(),
            starts_s={take.file: take.starts_at_s for take in new if take.starts_at_s is not None},
            progress=progress,
        )
        for take, found in zip(new, heard, strict=True):
            folder.keep(_key(folder, on_disk, take), heard_to_bytes(found))
            known[take.number] = found
    except InputError as error:
        raise _in_the_jobs_words(error, folder) from error
    return tuple(known[take.number] for take in folder.job.takes_in_use)


def _key(folder: JobFolder, line: str, take: TakeRef) -> str:
    mended = folder.job.mended.get(take.number, ())
    return f"heard-{fingerprint(READER, line, take.file, take.sha256, take.starts_at_s, *mended)}.npz"


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
