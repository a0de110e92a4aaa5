"""Commands for what is done to takes on request, and for takes stacked as layers."""

from __future__ import annotations

from typing import Annotated

import typer

from obbligato.cli import reports
from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.terminal import choose_output, progress_bar, say
from obbligato.errors import InputError


@app.command()
def mend(
    job: JobArgument,
    take: Annotated[int | None, typer.Argument(metavar="TAKE", help="The number of a take.")] = None,
    what: Annotated[
        str | None,
        typer.Argument(metavar="WHAT", help="clock, steps, rate, hum, low-cut, bleed, gain=DB or move=MS."),
    ] = None,
    phrase: Annotated[int | None, typer.Option(help="Of this phrase alone (gain), or which one (move).")] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take a mend back; with no WHAT all of the take's.")] = False,
    json: JsonOption = False,
) -> None:
    """Mend a take on request, or list what is mended; the take itself stays as it is."""
    from obbligato.job.mending import list_mends, undo_mend
    from obbligato.job.mending import mend as make_mend
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    if undo:
        if take is None:
            raise InputError("Say in which take: obbligato mend JOB TAKE WHAT --undo")
        undo_mend(folder, take, what, phrase=phrase)
    elif take is not None and what is not None:
        with progress_bar() as progress:
            make_mend(folder, take, what, phrase=phrase, progress=progress)
    elif phrase is not None:
        raise InputError("Say what to mend in the phrase: obbligato mend JOB TAKE move=MS --phrase N")

    def show() -> None:
        found = list_mends(folder, take)
        for one in found:
            for name, sentence in zip(one.mends, one.sentences, strict=True):
                say(f"Take {one.take}, {name}: {sentence}")
        if not found:
            say("Nothing is mended." if take is None else f"Nothing is mended in take {take}.")

    choose_output(json, lambda: reports.plain(list_mends(folder, take)), show)


@app.command()
def layers(
    job: JobArgument,
    takes: Annotated[
        list[int] | None, typer.Argument(metavar="TAKE...", help="Numbers of takes; all in use if left out.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Takes meant to be stacked: do they start, end, breathe and sit in tune together?"""
    from obbligato.job.layering import layers_of
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    with progress_bar() as progress:
        found = layers_of(folder, takes or (), progress=progress)

    def show() -> None:
        say(*found.sentences)
        middles = (
            ("starts", found.start_spread_ms, "ms"),
            ("releases", found.release_spread_ms, "ms"),
            ("pitch", found.pitch_spread_cents, "cents"),
        )
        told = [f"{what} {value:.0f} {unit}" for what, value, unit in middles if value is not None]
        say("", f"{len(found.names)} layers; from the first to the last of them, in the middle: {', '.join(told)}.")

    choose_output(json, lambda: reports.plain(found), show)
