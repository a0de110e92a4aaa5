"""Commands that start a job and say where it stands: new, status, account, demo."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, get_args

import typer
from pydantic import TypeAdapter

from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.reports import account_json, show_account, show_demo, show_status, status_json
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
    deadline: Annotated[str, typer.Option(help="By when, e.g. 2026-12-01 or 2026-12-01T18:00.")] = "",
    time_zone: Annotated[str, typer.Option(help="The deadline's time zone, e.g. Europe/Paris.")] = "",
    rounds: Annotated[int, typer.Option(help="Rounds of changes the fee includes.", min=0)] = 2,
    fee: Annotated[float | None, typer.Option(help="The agreed fee.", min=0)] = None,
    currency: Annotated[str, typer.Option(help="The fee's currency.")] = "",
    writer: Annotated[
        Literal["", "player", "client", "both"], typer.Option(help="Who writes the line.", show_default=False)
    ] = "",
    lines: Annotated[int | None, typer.Option(help="How many different lines.", min=1)] = None,
    layers: Annotated[int | None, typer.Option(help="How often each line is played on top of itself.", min=1)] = None,
    references: Annotated[str, typer.Option(help="Songs that show what is meant.")] = "",
    avoid: Annotated[str, typer.Option(help="What the client does not want.")] = "",
    purpose: Annotated[
        Literal["", "final", "demo"], typer.Option(help="Is it the final part or a demo?", show_default=False)
    ] = "",
    stated_bpm: Annotated[float | None, typer.Option(help="The tempo as the client states it.", min=1)] = None,
    stated_key: Annotated[str, typer.Option(help="The key as the client states it.")] = "",
    stated_meter: Annotated[str, typer.Option(help="The time signature as the client states it.")] = "",
    sample_rate: Annotated[
        int | None, typer.Option(help="Sample rate of the client's session, in Hz.", min=1)
    ] = None,
    bit_depth: Annotated[int | None, typer.Option(help="Bit depth of the client's session.", min=1)] = None,
    vocal_stem: Annotated[
        Literal["", "yes", "no"], typer.Option(help="Is there a track of the singer alone?", show_default=False)
    ] = "",
    usage: Annotated[str, typer.Option(help="What the song will be used for.")] = "",
    credit: Annotated[str, typer.Option(help="How the player is credited.")] = "",
) -> None:
    """Start a job from a client's guide track."""
    from obbligato.job.brief import make_brief
    from obbligato.job.intake import new_job
    from obbligato.job.risks import unanswered
    from obbligato.job.status import next_step

    brief = make_brief(
        title=title or guide.stem,
        client=client,
        player=player,
        approver=approver,
        wishes=wishes,
        deadline=deadline,
        rounds_included=rounds,
        fee=fee,
        currency=currency,
        writer=writer,
        lines=lines,
        layers=layers,
        references=references,
        avoid=avoid,
        purpose=purpose,
        stated_bpm=stated_bpm,
        stated_key=stated_key,
        stated_meter=stated_meter,
        sample_rate=sample_rate,
        bit_depth=bit_depth,
        vocal_stem=vocal_stem,
        time_zone=time_zone,
        usage=usage,
        credit=credit,
    )
    with progress_bar() as progress:
        folder = new_job(job, guide=guide, instrument=instrument, brief=brief, vocal=vocal, progress=progress)
    say(f"The job is in '{folder.root}': {folder.job.instrument} on '{brief.title}'.")
    open_questions = unanswered(brief, has_vocal=vocal is not None)
    if open_questions:
        say("", "Not answered yet, and what that may cost:")
        say(*(f"  {risk.question} {risk.consequence}" for risk in open_questions))
    say("", next_step(folder))


@app.command()
def status(job: JobArgument, json: JsonOption = False) -> None:
    """What is done, what is stale, what is next."""
    from obbligato.job.status import status as read_status
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    result = read_status(folder)
    choose_output(json, lambda: status_json(result), lambda: show_status(folder, result))


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
