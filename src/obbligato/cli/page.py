"""The command that opens the local page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from obbligato.cli.app import app
from obbligato.cli.terminal import say


@app.command()
def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="The folder of jobs; made if it is not there.")
    ] = Path(),
    port: Annotated[
        int | None, typer.Option(min=1, max=65535, help="The port on this machine; a free one if left out.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in your browser.")] = True,
) -> None:
    """The whole job on one local page, for a folder of jobs."""
    from obbligato.desk.server import serve

    def tell(address: str) -> None:
        say(f"The desk is open at {address}", "It answers on this machine only. Ctrl+C closes it; nothing is lost.")

    serve(folder, port=port, open_page=browser, tell=tell)
