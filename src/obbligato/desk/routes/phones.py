"""What the player hears while recording: click, count-in and headphone mix, as files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.work import TaskStarted
from obbligato.job.hearing import make_click
from obbligato.job.store import JobFolder
from obbligato.progress import Progress

router = APIRouter()


class ClickOrder(BaseModel):
    """Gain of the guide in the headphones; None has it chosen by the guide's loudness."""

    model_config = ConfigDict(extra="forbid")

    guide_db: Annotated[float, Field(ge=-60.0, le=12.0, allow_inf_nan=False)] | None = None


@router.post("/jobs/{job}/click", status_code=202)
def click(order: ClickOrder, folder: JobDep, desk: DeskDep) -> TaskStarted:
    """Make click, count-in and headphone mix for the song as it is mapped now."""
    name = folder.root.name
    task = desk.work.start(
        name, "making click and headphone mix", click_work, root=folder.root, guide_db=order.guide_db
    )
    return TaskStarted(task=task)


def click_work(*, root: Path, guide_db: float | None, progress: Progress) -> dict[str, Any]:
    """Make the click files, in the worker's process."""
    made = make_click(JobFolder.open(root), guide_db=guide_db, progress=progress)
    return {"folder": made.folder, "sentences": list(made.sentences)}
