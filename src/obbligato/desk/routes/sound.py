"""What the page plays: which sounds a job has, making one ready, and its samples."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Path, Query
from fastapi.responses import FileResponse
from pydantic import BaseModel, Field

from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.errors import NotThere
from obbligato.desk.sounds import NAMES, render_sound, sound_of, sounds_of
from obbligato.desk.work import TaskStarted

router = APIRouter()

SoundName = Annotated[str, Path(pattern=NAMES, description="guide, click, line, comp or take-N")]
Key = Annotated[str, Query(min_length=1, max_length=64, description="The sound's key, as listed")]


class SoundView(BaseModel):
    """A sound on the guide's time; `ready` once its samples can be fetched at `url`."""

    name: Annotated[str, Field(pattern=NAMES)]
    key: str
    ready: bool
    url: str


@router.get("/jobs/{job}/sounds")
def sounds(folder: JobDep) -> list[SoundView]:
    """Every sound of a job."""
    address = f"/api/jobs/{quote(folder.root.name, safe='')}/sounds"
    return [
        SoundView(
            name=sound.name,
            key=sound.key,
            ready=sound.is_ready(folder),
            url=f"{address}/{sound.name}?key={sound.key}",
        )
        for sound in sounds_of(folder)
    ]


@router.post("/jobs/{job}/sounds/{name}", status_code=202)
def make_ready(folder: JobDep, desk: DeskDep, name: SoundName) -> TaskStarted:
    """Render a sound unless it is there; the finished work's result is its key."""
    sound_of(folder, name)
    task = desk.work.start(
        folder.root.name, f"making the {name} to listen to", render_sound, lane="sounds", root=folder.root, name=name
    )
    return TaskStarted(task=task)


@router.get(
    "/jobs/{job}/sounds/{name}",
    response_class=FileResponse,
    responses={200: {"content": {"audio/wav": {}}, "description": "A wave file; parts of it by Range"}},
)
def samples(folder: JobDep, name: SoundName, key: Key) -> FileResponse:
    """The samples of a sound, as they are while it has this key."""
    sound = sound_of(folder, name)
    if sound.key != key:
        raise NotThere("This sound has changed meanwhile; ask for the list of sounds again.")
    if not sound.is_ready(folder):
        raise NotThere("This sound is not rendered yet; ask for it to be made ready first.")
    return FileResponse(folder.path(sound.file), media_type="audio/wav")
