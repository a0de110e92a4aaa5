"""Commands that need no job: listen, assess."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from obbligato.cli import reports
from obbligato.cli.app import JsonOption, app
from obbligato.cli.terminal import choose_output, progress_bar


@app.command()
def listen(
    audio: Annotated[Path, typer.Argument(metavar="AUDIO", help="A guide track, in any common format.")],
    vocal: Annotated[Path | None, typer.Option(help="The lead vocal alone, if there is such a file.")] = None,
    json: JsonOption = False,
) -> None:
    """Findings about a guide: tempo, bars, keys, chords, the singer, and the room they leave."""
    from obbligato.job.mapping import song_map_to_json
    from obbligato.job.quick import listen_to_file

    with progress_bar() as progress:
        song = listen_to_file(audio, vocal=vocal, progress=progress)
    choose_output(json, lambda: song_map_to_json(song), lambda: reports.show_song(song))


@app.command()
def assess(
    takes: Annotated[list[Path], typer.Argument(metavar="TAKE...", help="Recorded takes of the line.")],
    guide: Annotated[Path, typer.Option(help="The guide track that was played to.")],
    line: Annotated[
        Path | None,
        typer.Option(help="The line as MIDI, in sounding pitch; takes of a free solo are compared with one another."),
    ] = None,
    instrument: Annotated[
        str | None, typer.Option(help="The instrument: verdicts then name notes as its player reads them.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Readings of takes and a proposed choice."""
    from obbligato.job.quick import assess_files
    from obbligato.job.soloing import assess_solo_files

    with progress_bar() as progress:
        if line is None:
            assessment = assess_solo_files(takes, guide=guide, instrument=instrument, progress=progress)
        else:
            assessment = assess_files(takes, line=line, guide=guide, instrument=instrument, progress=progress)
    choose_output(json, lambda: reports.plain(assessment), lambda: reports.show_assessment(assessment))
