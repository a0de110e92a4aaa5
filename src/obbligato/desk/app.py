"""The application: routes under /api, files by signed links, the page's own files, and the guard around it all."""

from __future__ import annotations

import asyncio
import contextlib
import mimetypes
from collections.abc import AsyncIterator, Iterable
from pathlib import Path
from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import FileResponse
from starlette.types import ASGIApp

from obbligato import __version__
from obbligato.desk.deps import Desk
from obbligato.desk.errors import RESPONSES, NotThere, add_handlers
from obbligato.desk.events import AfterAChange
from obbligato.desk.guard import Guard
from obbligato.desk.routes import (
    choosing,
    client,
    guides,
    jobs,
    joining,
    phones,
    recording,
    song,
    sound,
    tasks,
    writing,
)

WEB = Path(__file__).parent / "web"
_OPENED_PAGE = (
    "sandbox allow-scripts allow-downloads; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data:; media-src data: blob:; font-src data:"
)
"""For an HTML file of a job: it runs its own script, apart from the desk and from any network."""

mimetypes.add_type("text/javascript", ".js")
mimetypes.add_type("font/woff2", ".woff2")
mimetypes.add_type("application/vnd.recordare.musicxml+xml", ".musicxml")


def make_app(desk: Desk) -> FastAPI:
    """The application without its guard, for a desk."""
    app = FastAPI(
        title="Obbligato desk",
        version=__version__,
        description="The jobs of one folder on this machine. Every address needs this run's token.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=_lifespan,
    )
    app.state.desk = desk
    add_handlers(app)
    app.add_middleware(AfterAChange, events=desk.events)
    for module in (jobs, tasks, song, guides, sound, writing, phones, recording, choosing, joining, client):
        app.include_router(module.router, prefix="/api", responses=RESPONSES)
    app.add_api_route("/file/{signature}/{job}/{relative:path}", _file, include_in_schema=False)
    app.add_api_route("/{relative:path}", _web, include_in_schema=False)
    return app


def guarded(app: FastAPI, *, ports: Iterable[int]) -> ASGIApp:
    """The application behind its guard, as it is served."""
    return Guard(app, token=app.state.desk.token, ports=ports)


@contextlib.asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    desk: Desk = app.state.desk
    watching = asyncio.create_task(desk.events.watch())
    desk.work.warm_up()
    try:
        yield
    finally:
        watching.cancel()
        desk.work.close()
        await asyncio.to_thread(desk.recording.close)
        desk.uploads.clear()


def _file(
    request: Request, signature: str, job: str, relative: str, download: Annotated[bool, Query()] = False
) -> FileResponse:
    """A file of a job."""
    desk: Desk = request.app.state.desk
    if not desk.links.hold(signature, job, relative):
        raise NotThere("This address was not given out in this run of the desk; open the job again.")
    path = desk.jobs.file(job, relative)
    headers = {"Content-Security-Policy": _OPENED_PAGE} if path.suffix == ".html" else {}
    disposition = "attachment" if download else "inline"
    return FileResponse(path, filename=path.name, content_disposition_type=disposition, headers=headers)


def _web(relative: str) -> FileResponse:
    """A file of the page itself."""
    path = (WEB / (relative or "index.html")).resolve()
    if not path.is_relative_to(WEB) or not path.is_file():
        raise NotThere("There is nothing at this address.")
    return FileResponse(path, headers={"Cache-Control": "no-cache"})
