"""Commands for the work after playing: takes, choose."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from obbligato.cli import reports
from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.terminal import choose_output, progress_bar
from obbligato.errors import InputError


@app.command()
def takes(
    job: JobArgument,
    action: Annotated[
        Literal["list", "add", "leave-out", "use-again", "cut"],
        typer.Argument(
            help="List the takes, add files, or by number leave takes out of the choice or cut them into passes."
        ),
    ] = "list",
    items: Annotated[
        list[str] | None, typer.Argument(metavar="FILE_OR_NUMBER...", help="Sound files to add, or numbers of takes.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(help="When on the guide's time the files start, e.g. 0:31.5; found if left out.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """The takes of a job; add takes recorded elsewhere."""
    from obbligato.job.cutting import cut_take
    from obbligato.job.places import parse_clock
    from obbligato.job.store import JobFolder
    from obbligato.job.taking import add_takes, leave_out

    folder = JobFolder.open(job)
    if action == "add":
        if not items:
            raise InputError("Name the files to add: obbligato takes JOB add FILE...")
        add_takes(folder, tuple(map(Path, items)), starts_at_s=parse_clock(at) if at is not None else None)
    elif action == "cut":
        for number in _numbers(action, items):
            cut_take(folder, number)
    elif action != "list":
        leave_out(folder, _numbers(action, items), use_again=action == "use-again")
    choose_output(json, lambda: reports.plain(folder.job.takes), lambda: reports.show_takes(folder))


def _numbers(action: str, items: list[str] | None) -> tuple[int, ...]:
    if not items or not all(item.isdecimal() for item in items):
        raise InputError(f"Give the takes by their numbers: obbligato takes JOB {action} 2 3")
    return tuple(int(item) for item in items)


@app.command()
def choose(
    job: JobArgument,
    phrase: Annotated[
        list[int] | None,
        typer.Option(help="A phrase to decide by hand (with --take); 0 is all of a solo without a line."),
    ] = None,
    take: Annotated[list[int] | None, typer.Option(help="The take to use for that phrase.")] = None,
    joins: Annotated[
        str | None,
        typer.Option(help="How many joins: fewest, balanced, best (of each phrase), or a number from 0 to 1."),
    ] = None,
    base: Annotated[int | None, typer.Option(help="The take to keep where no other is clearly better.")] = None,
    inside: Annotated[
        list[int] | None, typer.Option(metavar="PHRASE", help="A phrase that may be put together from several takes.")
    ] = None,
    gain: Annotated[
        list[str] | None, typer.Option(metavar="TAKE=DB", help="Make a take louder, e.g. 3=+1.5; 3=0 takes it back.")
    ] = None,
    match: Annotated[bool, typer.Option(help="Apply the gains proposed to match the takes.")] = False,
    from_: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="Follow a choice.txt that you have changed.")
    ] = None,
    clear: Annotated[bool, typer.Option(help="Forget all that was chosen by hand or wished for first.")] = False,
    json: JsonOption = False,
) -> None:
    """Read every take, propose the comp, take overrides, and render it."""
    from obbligato.job.choosing import choose as make_choice
    from obbligato.job.store import JobFolder
    from obbligato.job.wishes import follow_text, match_levels, set_joining, set_overrides

    folder = JobFolder.open(job)
    if len(phrase or ()) != len(take or ()):
        raise InputError("Give --phrase and --take in pairs: --phrase 4 --take 2.")
    place, gains_db = _dial(joins), _gains_db(gain or [])
    with progress_bar() as progress:
        if clear or joins or base is not None or inside or gain:
            set_joining(folder, joins=place, base=base, inside=inside or (), gains_db=gains_db, clear=clear)
        if phrase or clear:
            set_overrides(folder, dict(zip(phrase or (), take or (), strict=True)), clear=clear)
        if from_ is not None:
            follow_text(folder, from_, progress=progress)
        if match:
            match_levels(folder, progress=progress)
        comp = make_choice(folder, progress=progress)
    choose_output(json, lambda: reports.comp_json(comp), lambda: reports.show_comp(folder, comp))


def _dial(joins: str | None) -> float | None:
    words = {"fewest": 0.0, "balanced": 0.5, "best": 1.0}
    if joins is None or joins in words:
        return None if joins is None else words[joins]
    try:
        return float(joins)
    except ValueError:
        raise InputError(f"--joins {joins}: give fewest, balanced, best, or a number from 0 to 1.") from None


def _gains_db(said: list[str]) -> dict[int, float]:
    gains_db = {}
    for words in said:
        number, _, db = words.partition("=")
        try:
            gains_db[int(number)] = float(db.lower().removesuffix("db"))
        except ValueError:
            raise InputError(f"--gain {words}: give a take and decibels, as in: --gain 3=+1.5") from None
    return gains_db
