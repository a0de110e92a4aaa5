"""Commands for handing over: deliver, prove a pack again, the delivery log, an archive of the job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from obbligato.cli import reports
from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.terminal import choose_output, progress_bar, say

if TYPE_CHECKING:
    from obbligato.job.profiles import Profile


@app.command()
def deliver(
    job: JobArgument,
    treated: Annotated[
        bool, typer.Option(help="Also a treated version (low cut, gentle compression, small room).")
    ] = False,
    rate: Annotated[int | None, typer.Option(help="The client's rate in Hz; the guide's if left out.")] = None,
    depth: Annotated[int | None, typer.Option(help="16 (dithered), 24 or 32 bits (floating point).")] = None,
    channels: Annotated[
        Literal["as-recorded", "mono", "stereo"], typer.Option(help="What the client wants to get.")
    ] = "as-recorded",
    pips: Annotated[bool, typer.Option(help="A sync reference apart: count-in and two bars of pips.")] = False,
    also: Annotated[
        list[int] | None, typer.Option(metavar="TAKE", help="A take to go along whole: a layer, or an alternate.")
    ] = None,
    names: Annotated[
        str | None, typer.Option(help="How files are named: {number}_{title}_{part}_{what}_v{version}_{format}")
    ] = None,
    changed: Annotated[
        bool, typer.Option(help="Only the files that changed since the last delivery, with a list by bar.")
    ] = False,
    without_yes: Annotated[
        bool, typer.Option(help="Deliver although the client has not said yes to everything that is played.")
    ] = False,
    json: JsonOption = False,
) -> None:
    """Write the pack, open it again from disk, prove it, and only then call it done."""
    from obbligato.job.delivery import deliver as make_delivery
    from obbligato.job.store import JobFolder

    folder = JobFolder.open(job)
    given = {"sample_rate": rate, "bit_depth": depth, "template": names, "also": tuple(also) if also else None}
    given |= {"treated": treated or None, "pips": pips or None}
    given |= {"channels": channels if channels != "as-recorded" else None}
    profile = _profile({name: value for name, value in given.items() if value is not None})
    with progress_bar() as progress:
        pack = make_delivery(
            folder, profile=profile, without_yes=without_yes, only_changed=changed, progress=progress
        )
    choose_output(json, lambda: reports.plain(pack), lambda: reports.show_pack(folder, pack))


@app.command()
def prove(
    job: JobArgument,
    delivery: Annotated[int | None, typer.Argument(help="Its number; the newest if left out.")] = None,
    json: JsonOption = False,
) -> None:
    """Open a pack that was delivered again from disk and hold it against the job as it stands now."""
    from obbligato.job.delivery import prove_again
    from obbligato.job.store import JobFolder

    pack, checks = prove_again(JobFolder.open(job), delivery)
    faults = [check.sentence for check in checks if not check.ok]
    words = faults or [check.sentence for check in checks]
    choose_output(json, lambda: {"version": pack.version, "checks": reports.plain(checks)}, lambda: say(*words))
    if faults:
        raise typer.Exit(1)


@app.command()
def log(job: JobArgument, json: JsonOption = False) -> None:
    """The delivery log: every file that was sent, with its size, checksum and date, as comma-separated values."""
    from obbligato.job.delivery_log import delivery_log, log_text
    from obbligato.job.store import JobFolder

    rows = delivery_log(JobFolder.open(job))
    choose_output(json, lambda: {"files": reports.plain(rows)}, lambda: typer.echo(log_text(rows), nl=False))


@app.command()
def archive(
    job: JobArgument, file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="Where to put it; a new file.")]
) -> None:
    """The whole job as one zip file to keep: the same bytes for the same job."""
    from obbligato.job.archive import archive_job
    from obbligato.job.store import JobFolder

    say(f"Kept in {archive_job(JobFolder.open(job), file)}")


def _profile(given: dict[str, Any]) -> Profile | None:
    """The profile that the options make; None where none was given."""
    from pydantic import ValidationError

    from obbligato.errors import InputError
    from obbligato.job.profiles import Profile

    try:
        return Profile(**given) if given else None
    except ValidationError as error:
        fault = error.errors()[0]
        raise InputError(
            f"{fault['loc'][0]}={fault['input']} cannot be delivered; rates go from 8000 to 384000 Hz, depths are "
            "16, 24 and 32."
        ) from None
