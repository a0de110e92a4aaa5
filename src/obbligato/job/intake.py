"""Starting a job: the guide is copied in untouched, decoded once, and locked by its fingerprint."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.model import Brief, Event, GuideRef, Job
from obbligato.job.store import HISTORY_FILE, JOB_FILE, JobFolder, now, require_writable, unfinished_prefix
from obbligato.music.instruments import find_instrument
from obbligato.progress import Progress, silent
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts
from obbligato.sound.files import read_audio, sha256_of, write_wav

PCM_COPY = "guide/guide.wav"
RECEIVED = "guide/received"


def new_job(
    root: Path,
    *,
    guide: Path,
    instrument: str,
    brief: Brief,
    vocal: Path | None = None,
    progress: Progress = silent,
) -> JobFolder:
    """Make the job folder `root` from a guide; either the whole folder appears or nothing does.

    Raises
    ------
    InputError
        When the folder is taken, the guide (or vocal) cannot be read, or the instrument is unknown.
    """
    from obbligato.sound.formats import file_format

    if root.exists():
        raise InputError(f"'{root}' exists already; give the new job another name.")
    parent = root.absolute().parent
    if not parent.is_dir():
        raise InputError(f"There is no folder '{parent}' to put the job in; make it first.")
    require_writable(parent)
    name = find_instrument(instrument).name
    progress(0.0, "reading the guide")
    audio = read_audio(guide)
    vocal_audio = read_audio(vocal) if vocal else None
    building = Path(tempfile.mkdtemp(prefix=unfinished_prefix(), dir=parent))
    try:
        progress(0.6, "copying the guide in")
        received = _receive(building, guide)
        bits = file_format(guide).bit_depth
        exact_in_24_bits = bits is not None and bits <= 24
        write_wav(building / PCM_COPY, audio, bit_depth=24 if exact_in_24_bits else 32)
        job = Job(
            created_at=now(),
            brief=brief,
            instrument=name,
            guide=GuideRef(
                received=received,
                pcm=PCM_COPY,
                sha256=sha256_of(guide),
                vocal=_receive(building, vocal) if vocal and vocal_audio else None,
            ),
        )
        write_bytes_at_once(building / JOB_FILE, job.model_dump_json(indent=2).encode(), overwrite=True)
        event = Event(at=job.created_at, stage="new", what=f"guide received as '{guide.name}'")
        (building / HISTORY_FILE).write_text(event.model_dump_json(exclude_none=True) + "\n", encoding="utf-8")
        building.chmod(0o755)
        building.rename(root)
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise
    progress(1.0, "job made")
    return JobFolder(root, job)


def guide_facts(folder: JobFolder, audio: Audio) -> SourceFacts:
    """What is known of the guide's file, `audio` is what it holds."""
    from obbligato.sound.intake import source_facts

    received = folder.job.guide.received
    return replace(source_facts(folder.path(received), audio), path=received)


def guide_audio(folder: JobFolder) -> Audio:
    """The locked PCM copy of the guide.

    Raises
    ------
    InputError
        As `require_same_guide`.
    """
    require_same_guide(folder)
    return read_audio(folder.path(folder.job.guide.pcm))


def require_same_guide(folder: JobFolder) -> None:
    """Refuse to go on with another guide than the one all was made for.

    Raises
    ------
    InputError
        When the guide as received is no longer the one the job was made from.
    """
    guide = folder.job.guide
    received = folder.path(guide.received)
    if not received.is_file() or sha256_of(received) != guide.sha256:
        raise InputError(
            f"The guide in this job ('{guide.received}') is not the file the job was made from; "
            "put that file back, or start a new job with the new guide."
        )


def vocal_audio(folder: JobFolder) -> Audio | None:
    """The client's vocal stem, if they sent one."""
    return read_audio(folder.path(folder.job.guide.vocal)) if folder.job.guide.vocal else None


def _receive(building: Path, file: Path) -> str:
    relative = f"{RECEIVED}/{file.name}"
    (building / RECEIVED).mkdir(parents=True, exist_ok=True)
    shutil.copyfile(file, building / relative)
    return relative
