"""Commands that start a job and say where it stands: new, status, account, demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, get_args

import typer
from pydantic import TypeAdapter

from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.reports import account_json, plain, show_account, show_demo, show_status
from obbligato.cli.terminal import choose_output, progress_bar, say
from obbligato.errors import InputError

if TYPE_CHECKING:
    from obbligato.job.model import Stage


@app.command()
def new(
    job: JobArgument,
    guide: Annotated[Path, typer.Option(help="The client's guide track, in any common format.")],
    instrument: Annotated[str, typer.Option(help="Your instrument, e.g. flugelhorn.")],
    vocal: Annotated[Path | None, typer.Option(help="The lead vocal alone, if the client sent it.")] = None,
    title: Annotated[str, typer.Option(help="The song's title; the guide's file name if left out.")] = "",
    client: Annotated[str, typer.Option(help="Who ordered the part.")] = "",
    player: Annotated[str, typer.Option(help="Who plays it.")] = "",
    approver: Annotated[str, typer.Option(help="The one person who says yes.")] = "",
    wishes: Annotated[str, typer.Option(help="What the client wants, in their words.")] = "",
    deadline: Annotated[str, typer.Option(help="By when, as agreed.")] = "",
    rounds: Annotated[int, typer.Option(help="Rounds of changes the fee includes.", min=0)] = 2,
    fee: Annotated[float | None, typer.Option(help="The agreed fee.", min=0)] = None,
    currency: Annotated[str, typer.Option(help="The fee's currency.")] = "",
) -> None:
    """Start a job from a client's guide track."""
    from obbligato.job.intake import new_job
    from obbligato.job.model import Brief
    from obbligato.job.status import next_step

    brief = Brief(
        title=title or guide.stem,
        client=client,
        player=player,
        approver=approver,
        wishes=wishes,
        deadline=deadline,
        rounds_included=rounds,
        fee=fee,
        currency=currency,
    )
    with progress_bar() as progress:
        folder = new_job(job, guide=guide, instrument=instrument, brief=brief, vocal=vocal, progress=progress)
    say(f"The job is in '{folder.root}': {folder.job.instrument} on '{brief.title}'.", "", next_step(folder))


@app.command()
def status(job: JobArgument, json: JsonOption = False) -> None:
    """What is done, what is stale, what is next."""
    from obbligato.job.status import status as read_status
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    result = read_status(folder)
    choose_output(json, lambda: plain(result), lambda: show_status(folder, result))


@app.command()
def account(
    job: JobArgument,
    add: Annotated[str, typer.Option(help="Enter time by hand: STAGE=MINUTES, e.g. takes=45.")] = "",
    note: Annotated[str, typer.Option(help="What the entered time was for.")] = "",
    statement: Annotated[bool, typer.Option(help="Also write the statement as a PDF.")] = True,
    json: JsonOption = False,
) -> None:
    """Hours by stage, rounds used, and a statement."""
    from obbligato.job.account import account as read_account
    from obbligato.job.account import add_minutes
    from obbligato.job.statement import write_statement
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    if add:
        stage, minutes = _parse_time_entry(add)
        add_minutes(folder, stage, minutes, note)
    written = write_statement(folder) if statement and not json else None
    result = read_account(folder)
    choose_output(json, lambda: account_json(result), lambda: show_account(folder, result, written))


@app.command()
def demo(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="A new folder; ./obbligato-demo if left out.")
    ] = None,
) -> None:
    """The whole job on the invented song, start to finish."""
    from obbligato.demo.run import free_folder, run_demo

    with progress_bar() as progress:
        result = run_demo(folder or free_folder(Path("obbligato-demo")), progress=progress)
    show_demo(result)


def _parse_time_entry(text: str) -> tuple[Stage, float]:
    from obbligato.job.model import Stage as Stages

    stage, _, minutes = text.partition("=")
    try:
        known: TypeAdapter[Stage] = TypeAdapter(Stages)
        return known.validate_python(stage.strip()), float(minutes.replace(",", "."))
    except ValueError:
        raise InputError(
            f"'{text}': write the stage and its minutes as STAGE=MINUTES, e.g. takes=45; "
            f"stages are {', '.join(get_args(Stages))}."
        ) from None
