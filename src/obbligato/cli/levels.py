"""The command `levels`: is everything ready to record?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from obbligato.cli import reports
from obbligato.cli.app import JsonOption, app
from obbligato.cli.terminal import EXIT_NOT_RIGHT, choose_output, err, print_json, progress_bar, say
from obbligato.errors import InputError


@app.command()
def levels(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help="The job's folder.")] = None,
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="A recording of some seconds; without it the device is recorded."),
    ] = None,
    plan: Annotated[bool, typer.Option("--plan", help="Only say what to record.")] = False,
    device: Annotated[str | None, typer.Option(help="The audio device, by name or number.")] = None,
    seconds: Annotated[float, typer.Option(help="How long to record the device.")] = 15.0,
    all_: Annotated[bool, typer.Option("--all", help="Every check with its number.")] = False,
    placement: Annotated[
        str | None, typer.Option(metavar="INSTRUMENT", help="Where to put the microphone to begin with.")
    ] = None,
    drawing: Annotated[
        Path | None, typer.Option(metavar="FILE.svg", help="Write the drawing of --placement there.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Is everything ready to record: input, level, room, hum, microphone? One instruction at a time."""
    if placement is not None:
        _show_placement(placement, drawing, json=json)
        return
    if job is None:
        raise InputError("Give the job's folder, or ask where to put the microphone with --placement INSTRUMENT.")
    if drawing is not None:
        raise InputError("--drawing belongs to --placement INSTRUMENT.")
    from obbligato.job.ready import check_device, check_file, plan_check
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    if plan:
        found = plan_check(folder)
    elif file is not None:
        with progress_bar() as progress:
            found = check_file(folder, file, progress=progress)
    else:
        from obbligato.play.devices import find_device

        chosen = find_device(device)
        err.print(plan_check(folder).play, markup=False, soft_wrap=True)
        with progress_bar() as progress:
            inputs = min(2, chosen.recorded_by.inputs)
            found = check_device(folder, chosen, inputs=inputs, seconds=seconds, progress=progress)
    readiness = found.readiness

    def show() -> None:
        if readiness is None:
            say(found.play, f"Then: obbligato levels {job} FILE")
            return
        say(readiness.sentence)
        if all_:
            say("", *(f"{check.what}: {check.state}. {check.sentence}" for check in readiness.checks))

    choose_output(json, lambda: reports.plain(found), show)
    if readiness is not None and not readiness.ready:
        raise typer.Exit(EXIT_NOT_RIGHT)


def _show_placement(name: str, drawing: Path | None, *, json: bool) -> None:
    from obbligato.music.instruments import find_instrument
    from obbligato.play.placement import placement_for, placement_svg, placement_text
    from obbligato.sound.atomic import write_bytes_at_once

    instrument = find_instrument(name)
    if drawing is not None:
        write_bytes_at_once(drawing, placement_svg(instrument).encode())
    sentences = placement_text(instrument)
    if json:
        place = reports.plain(placement_for(instrument))
        print_json({"instrument": instrument.name, "sentences": list(sentences), **place})
        return
    say(*sentences)
    if drawing is not None:
        say(f"Drawn in {drawing}.")
