"""Recording: the devices and settings of this computer, the ready check, takes, marks, and what was cut off."""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.record_data import (
    CoverView,
    DeviceView,
    RecordingState,
    RecordView,
    SettingsGiven,
    SettingsView,
    TakeOrder,
    cover_view,
    ready_view,
    record_view,
)
from obbligato.desk.words import page_words
from obbligato.desk.work import TaskStarted
from obbligato.errors import InputError
from obbligato.job.covering import cover
from obbligato.job.drafting import mapped_song
from obbligato.job.model import Mark
from obbligato.job.ready import check_file
from obbligato.job.recording import mark_take
from obbligato.job.recovering import recover_takes
from obbligato.job.session import exposure_of, headphones_of, make_phones
from obbligato.job.store import JobFolder
from obbligato.play.audio_settings import AudioSettings, keep_settings, read_settings
from obbligato.play.phones import HEARING_CAUTION
from obbligato.progress import Progress

router = APIRouter()

TakeNumber = Annotated[int, Path(ge=1, le=9_999)]


def _mapped(folder: JobDep) -> JobFolder:
    """A job whose guide was listened to; that is long work, and not begun by asking for something else."""
    mapped_song(folder)
    return folder


MappedDep = Annotated[JobFolder, Depends(_mapped)]


class Stop(BaseModel):
    """Stop: after three seconds for the sound to ring out, or at once."""

    model_config = ConfigDict(extra="forbid")

    at_once: bool = False


class CheckOrder(BaseModel):
    """How long to listen to the player."""

    model_config = ConfigDict(extra="forbid")

    seconds: Annotated[float, Field(ge=3.0, le=60.0, allow_inf_nan=False)] = 15.0


class FileToCheck(BaseModel):
    """A recording that arrived, made elsewhere for the ready check."""

    model_config = ConfigDict(extra="forbid")

    upload: Annotated[str, Field(min_length=1, max_length=40)]


class MarkGiven(BaseModel):
    """What the player says of a take."""

    model_config = ConfigDict(extra="forbid")

    mark: Mark


class Recovered(BaseModel):
    """What was said of takes that were cut off and are in the job now."""

    sentences: list[str]


@router.get("/recording")
def now(desk: DeskDep) -> RecordingState:
    """What is going on at this moment."""
    return desk.recording.state()


@router.get("/recording/devices")
def devices(desk: DeskDep) -> list[DeviceView]:
    """The audio devices plugged in now."""
    return [DeviceView.model_validate(found) for found in desk.recording.devices()]


@router.patch("/recording/settings")
def settings(given: SettingsGiven) -> SettingsView:
    """Change how this computer records; what is left out stays, and null goes back to what is usual."""
    usual = AudioSettings().model_dump()
    asked = {
        name: usual[name] if value is None else value for name, value in given.model_dump(exclude_unset=True).items()
    }
    changed = AudioSettings.model_validate(read_settings().model_dump() | asked)
    headphones_of(changed)
    keep_settings(changed)
    return SettingsView.of(changed)


@router.post("/recording/stop")
def stop(order: Stop, desk: DeskDep) -> RecordingState:
    """Stop what is going on; nothing happens when nothing is."""
    return desk.recording.stop(at_once=order.at_once)


@router.get("/jobs/{job}/recording")
def view(folder: MappedDep) -> RecordView:
    """What the job is ready for, what is covered, and how long to rest."""
    return record_view(folder, read_settings())


@router.post("/jobs/{job}/recording/take", status_code=202)
def take(order: TakeOrder, folder: MappedDep, desk: DeskDep) -> RecordingState:
    """Begin a take."""
    if order.bars and order.bars[0] > order.bars[1]:
        raise InputError("The bars end before they begin; mark them on the chart again.")
    return desk.recording.start("record", folder.root, order=order)


@router.post("/jobs/{job}/recording/check", status_code=202)
def check(order: CheckOrder, folder: MappedDep, desk: DeskDep) -> RecordingState:
    """Begin to listen to the player for the ready check."""
    return desk.recording.start("check", folder.root, seconds=order.seconds)


@router.post("/jobs/{job}/recording/check-file", status_code=202)
def check_a_file(given: FileToCheck, folder: MappedDep, desk: DeskDep) -> TaskStarted:
    """Look at a recording made elsewhere for the ready check; the result is its verdict."""
    task = desk.work.start(
        folder.root.name,
        "looking at the recording",
        check_work,
        lane="sounds",
        finally_do=lambda: desk.uploads.done(given.upload),
        root=folder.root,
        file=desk.uploads.path(given.upload),
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/recording/calibrate", status_code=202)
def calibrate(folder: JobDep, desk: DeskDep) -> RecordingState:
    """Begin to measure the way out and back, over a cable or with a headphone at the microphone."""
    return desk.recording.start("calibrate", folder.root)


@router.post("/jobs/{job}/recording/phones", status_code=202)
def phones(folder: MappedDep, desk: DeskDep) -> TaskStarted:
    """Mix for the headphones as set, and estimate how loud that is; the result is the sentences."""
    task = desk.work.start(
        folder.root.name, "mixing for the headphones", phones_work, lane="sounds", root=folder.root
    )
    return TaskStarted(task=task)


@router.post("/jobs/{job}/recording/recover")
def recover(folder: JobDep) -> Recovered:
    """Put takes that were cut off into the job."""
    found = recover_takes(folder)
    return Recovered(sentences=[page_words(sentence) for one in found for sentence in one.sentences])


@router.post("/jobs/{job}/takes/{number}/mark")
def mark(given: MarkGiven, number: TakeNumber, folder: MappedDep) -> CoverView:
    """Keep what the player says of a take; noise leaves it out."""
    mark_take(folder, number, given.mark)
    return cover_view(cover(folder))


def check_work(*, root: FilePath, file: FilePath, progress: Progress) -> dict[str, Any] | None:
    """Look at a file, in the worker's process."""
    found = ready_view(check_file(JobFolder.open(root), file, progress=progress))
    return None if found is None else found.model_dump()


def phones_work(*, root: FilePath, progress: Progress) -> dict[str, Any]:
    """Mix and estimate, in the worker's process."""
    set_up = read_settings()
    made = make_phones(JobFolder.open(root), set_up.levels, progress=progress)
    told = ", ".join(f"{stem.name} {stem.lufs:.0f} LUFS" for stem in made.mix.stems)
    heard = exposure_of(made, set_up)
    return {"sentences": [made.mix.sentence, f"In the mix: {told}.", heard.sentence, HEARING_CAUTION]}
