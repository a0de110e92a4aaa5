"""The command line's root: `obbligato COMMAND ...`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from typer.models import CommandInfo

from obbligato import __version__
from obbligato.cli.terminal import say

app = typer.Typer(
    name="obbligato",
    help="From a guide track to a delivered part: the whole job of a musician who records at home.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

JobArgument = Annotated[Path, typer.Argument(metavar="JOB", help="The job's folder.")]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, nothing else there.")]


ORDER_OF_A_JOB = (
    *(
        "demo",
        "desk",
        "new",
        "map",
        "line",
        "check",
        "mockup",
        "review",
        "reply",
        "part",
        "click",
        "levels",
        "record",
        "takes",
    ),
    *(
        "mend",
        "choose",
        "layers",
        "deliver",
        "prove",
        "log",
        "archive",
        "account",
        "status",
        "listen",
        "assess",
        "instruments",
    ),
)


def _version(asked: bool) -> None:
    if asked:
        say(__version__)
        raise typer.Exit


@app.callback()
def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """From a guide track to a delivered part: the whole job of a musician who records at home."""


def in_order_of_a_job(program: typer.Typer) -> None:
    """List the commands of `--help` in the order in which a job needs them."""

    def place(command: CommandInfo) -> int:
        name = command.name or (command.callback.__name__ if command.callback else "")
        return ORDER_OF_A_JOB.index(name)

    program.registered_commands.sort(key=place)
