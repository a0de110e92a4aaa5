"""What a route is given: the desk, and the job its address names."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Annotated

from fastapi import Depends, Path, Request

from obbligato.desk.events import Events
from obbligato.desk.folder import Jobs
from obbligato.desk.links import Links
from obbligato.desk.recording import Recording
from obbligato.desk.uploads import Uploads
from obbligato.desk.work import Work
from obbligato.job.store import JobFolder, remove_left_by
from obbligato.play.devices import DeviceLibrary, PortAudioLibrary


@dataclass(frozen=True)
class Desk:
    """Everything the routes share in one run of the server."""

    jobs: Jobs
    uploads: Uploads
    work: Work
    recording: Recording
    events: Events
    links: Links
    token: str

    @classmethod
    def at(cls, folder: FilePath, *, token: str, library: DeviceLibrary | None = None) -> Desk:
        """A desk for a folder of jobs, with this computer's audio devices or others."""
        jobs = Jobs.at(folder)
        work: Work
        recording: Recording
        events = Events(jobs, lambda: work, lambda: recording)
        work = Work(events.look_soon, lambda pid: remove_left_by(pid, jobs.root))
        recording = Recording(events.look_soon, library or PortAudioLibrary())
        return cls(jobs, Uploads(jobs.root), work, recording, events, Links(token), token)

    def link(self, folder: JobFolder, relative: str) -> str:
        """The address of a file in a job."""
        return self.links.to(folder.root.name, relative)


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


DeskDep = Annotated[Desk, Depends(_desk)]
JobName = Annotated[str, Path(min_length=1, max_length=120, description="The job's folder name")]


def _job(job: JobName, desk: DeskDep) -> JobFolder:
    return desk.jobs.open(job)


JobDep = Annotated[JobFolder, Depends(_job)]
