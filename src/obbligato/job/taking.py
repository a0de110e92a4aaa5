"""Takes recorded elsewhere: copied in, fingerprinted, never changed."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from obbligato.errors import InputError
from obbligato.job.model import TakeRef
from obbligato.job.store import JobFolder
from obbligato.progress import Progress, silent
from obbligato.sound.files import read_audio, sha256_of

QUIETEST_PEAK = 1e-4


def add_takes(
    folder: JobFolder,
    files: tuple[Path, ...],
    *,
    starts_at_s: float | None = None,
    progress: Progress = silent,
) -> tuple[TakeRef, ...]:
    """Add takes, in the order given; all of them or, when one cannot be used, none.

    `starts_at_s` states where on the guide's time the files start; left out, it is found by listening.

    Raises
    ------
    InputError
        When a file cannot be read, is silent, or is in the job already.
    """
    folder.require_writable()
    known = {take.sha256: take.number for take in folder.job.takes_in_use}
    number = max((take.number for take in folder.job.takes), default=0)
    new: list[TakeRef] = []
    for i, file in enumerate(files):
        progress(i / len(files), f"reading '{file.name}'")
        audio = read_audio(file)
        if abs(audio.y).max() < QUIETEST_PEAK:
            raise InputError(f"'{file.name}' is silent; check which input was recorded.")
        sha256 = sha256_of(file)
        if sha256 in known:
            raise InputError(f"'{file.name}' is already take {known[sha256]} of this job; leave it out.")
        number += 1
        known[sha256] = number
        new.append(
            TakeRef(
                number=number,
                file=f"takes/take_{number:02d}{file.suffix.lower()}",
                sha256=sha256,
                given_as=file.name,
                sample_rate=audio.sr,
                frames=audio.n_samples,
                line_version=folder.job.lines[-1].version if folder.job.lines else None,
                guide_sha256=folder.job.guide.sha256,
                starts_at_s=starts_at_s,
            )
        )
    words = f"take {new[0].number}" if len(new) == 1 else f"takes {new[0].number} to {new[-1].number}"
    sounds = ((take, file.read_bytes()) for take, file in zip(new, files, strict=True))
    keep_takes(folder, sounds, f"{words} added", takes=(*folder.job.takes, *new))
    return tuple(new)


def keep_takes(folder: JobFolder, sounds: Iterable[tuple[TakeRef, bytes]], what: str, **changes: Any) -> None:
    """Write takes and their facts into the job and save it with these changes; all of it or nothing."""
    written: list[Path] = []
    try:
        for take, sound in sounds:
            facts = str(Path(take.file).with_suffix(".json"))
            for relative, data in ((take.file, sound), (facts, take.model_dump_json(indent=2).encode())):
                folder.add_file(relative, data)
                written.append(folder.path(relative))
        folder.save("takes", what, **changes)
    except BaseException:
        for path in written:
            path.unlink(missing_ok=True)
        raise


def leave_out(folder: JobFolder, numbers: tuple[int, ...], *, use_again: bool = False) -> None:
    """Leave takes out of every choice, or use them again; the files stay where they are.

    Raises
    ------
    InputError
        When there is no such take.
    """
    known = {take.number for take in folder.job.takes}
    unknown = sorted(set(numbers) - known)
    if unknown:
        last = max(known, default=0)
        there = f"the job has takes 1 to {last}" if known else "the job has none yet"
        raise InputError(f"There is no take {unknown[0]}; {there}.")
    left_out = folder.job.left_out - set(numbers) if use_again else folder.job.left_out | set(numbers)
    overrides = {phrase: take for phrase, take in folder.job.overrides.items() if take not in left_out}
    words = f"take {', '.join(map(str, sorted(set(numbers))))} {'used again' if use_again else 'left out'}"
    folder.save("takes", words, left_out=left_out, overrides=overrides)
