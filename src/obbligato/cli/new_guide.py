"""What a new guide does to a job, and going by it: the guide's side of `map`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from obbligato.cli.reports import plain, say_next
from obbligato.cli.terminal import choose_output, progress_bar, say
from obbligato.job.status import in_a_command, with_folder

if TYPE_CHECKING:
    from obbligato.job.new_guide import GuideReport
    from obbligato.job.store import JobFolder
    from obbligato.job.taking_over import TakenOver


def map_guide(folder: JobFolder, file: Path, *, take_over: bool, json: bool) -> None:
    """Report on a new guide, and go by it if that is asked for."""
    from obbligato.job.new_guide import compare_guide
    from obbligato.job.taking_over import take_over_guide

    with progress_bar() as progress:
        report = compare_guide(folder, file, progress=progress)
        taken = take_over_guide(folder, report.sha256) if take_over else None
    choose_output(json, lambda: _document(report, taken), lambda: _show(folder, file, report, taken))


def _document(report: GuideReport, taken: TakenOver | None) -> dict[str, Any]:
    document: dict[str, Any] = plain(report)
    return {**document, "taken_over": None if taken is None else list(taken.sentences)}


def _show(folder: JobFolder, file: Path, report: GuideReport, taken: TakenOver | None) -> None:
    say(f"'{report.given_as}' beside the guide in force:", *report.sentences)
    for section in report.sections:
        heading = f"Section {section.section}" if section.section else "Before the first section"
        say("", heading, *(f"  {change.sentence}" for change in section.changes))
    if report.takes:
        say("", *(take.sentence for take in report.takes))
    if taken:
        say("", *taken.sentences)
        say_next(folder)
        return
    say("", "The job goes on by the old guide. To go by the new one:")
    say(with_folder(f"  obbligato map JOB --guide {in_a_command(file)} --take-over", folder))
