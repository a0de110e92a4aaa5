"""The song: its chart, the line engraved under it, and what the player puts right."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response
from pydantic import BaseModel

from obbligato.desk.chart_data import chart_view
from obbligato.desk.chart_model import ChartView
from obbligato.desk.deps import DeskDep, JobDep
from obbligato.desk.song_work import MapCorrection, apply_correction, correct_and_listen
from obbligato.desk.staves_data import BarsPerRow, Pitch, StavesView, staves_view
from obbligato.desk.work import Task
from obbligato.job.mapping import FINDINGS, must_listen, song_map

router = APIRouter()


class MapCorrected(BaseModel):
    """The work that a correction needs; none where it is in force at once."""

    task: Task | None = None


@router.get("/jobs/{job}/chart")
def chart(folder: JobDep) -> ChartView:
    """The song as it is heard and put right so far."""
    return chart_view(folder)


@router.get("/jobs/{job}/staves")
def staves(
    folder: JobDep,
    per_row: Annotated[BarsPerRow, Query()] = BarsPerRow.FOUR,
    pitch: Annotated[Pitch, Query()] = "written",
) -> StavesView:
    """The newest line, engraved in the chart's rows."""
    return staves_view(folder, per_row=per_row, pitch=pitch)


@router.post("/jobs/{job}/map", responses={202: {"model": MapCorrected}})
def correct_map(said: MapCorrection, folder: JobDep, desk: DeskDep, response: Response) -> MapCorrected:
    """Put something right; 202 where the guide has to be heard again for it."""
    name = folder.root.name
    kept = None
    if desk.work.busy(name) or not folder.path(FINDINGS).exists():
        kept = said.model_dump(mode="json")
    else:
        apply_correction(folder, said)
        if not must_listen(folder):
            song_map(folder)
            return MapCorrected()
    response.status_code = 202
    return MapCorrected(
        task=desk.work.start(name, "hearing it as you said", correct_and_listen, root=folder.root, said=kept)
    )
