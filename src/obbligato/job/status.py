"""Where a job stands: each stage done, stale or open, and the one next step."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from obbligato.job.keys import stage_key
from obbligato.job.mapping import FINDINGS
from obbligato.job.model import Stage
from obbligato.job.recovering import cut_off_takes
from obbligato.job.store import JobFolder

State = Literal["done", "stale", "waiting", "open"]


@dataclass(frozen=True)
class StageStatus:
    """One stage: its state, a sentence on it, and the command that does what the sentence asks (empty when none)."""

    stage: Stage
    state: State
    sentence: str
    command: str = ""

    @property
    def with_command(self) -> str:
        """The sentence, ending in the command."""
        return f"{self.sentence.removesuffix('.')}: {self.command}" if self.command else self.sentence


@dataclass(frozen=True)
class Status:
    """All stages in order, and the one that comes next with what to do there."""

    stages: tuple[StageStatus, ...]
    next: StageStatus

    @property
    def next_step(self) -> str:
        """What to do next, as a sentence with the command."""
        step = self.next.with_command
        return f"Next: {step[0].lower()}{step[1:]}" if self.next.state == "open" else step


def status(folder: JobFolder) -> Status:
    """Read the state of every stage off the job folder."""
    stages = (
        _map(folder),
        _line(folder),
        _made(folder, "check", "check of the line", "obbligato check JOB"),
        _made(folder, "mockup", "mock-up", "obbligato mockup JOB"),
        _review(folder),
        _made(folder, "part", "part to play from", "obbligato part JOB"),
        _made(folder, "click", "click and headphone mix", "obbligato click JOB"),
        _takes(folder),
        _made(folder, "choose", "comp", "obbligato choose JOB"),
        _made(folder, "deliver", "delivery", "obbligato deliver JOB"),
    )
    delivered = stages[-1].state == "done"
    for stage in stages:
        if stage.state == "stale" or (stage.state == "open" and not delivered):
            return Status(stages, stage)
    waiting = next((stage for stage in stages if stage.state == "waiting"), None)
    if waiting:
        return Status(stages, waiting)
    all_done = all(stage.state == "done" for stage in stages)
    words = "Everything is done" if all_done else "The part is delivered"
    last = StageStatus("account", "done", f"{words}; see the time and rounds.", "obbligato account JOB")
    return Status(stages, last)


def next_step(folder: JobFolder) -> str:
    """The one next step, with the job's own folder in the command."""
    return with_folder(status(folder).next_step, folder)


def with_folder(sentence: str, folder: JobFolder) -> str:
    """A sentence with the job's own folder in the command that it names."""
    return sentence.replace(" JOB", f" {in_a_command(folder.root)}")


def in_a_command(path: Path) -> str:
    """A path as it is typed in a command: quoted where it must be, and never taken for an option."""
    text = str(path)
    return shlex.quote(f"./{text}" if text.startswith("-") else text)


def _map(folder: JobFolder) -> StageStatus:
    if folder.path(FINDINGS).exists():
        return StageStatus("map", "done", "The song is mapped.")
    return StageStatus("map", "open", "Map the song.", "obbligato map JOB")


def _line(folder: JobFolder) -> StageStatus:
    if folder.job.lines:
        newest = folder.job.lines[-1]
        return StageStatus("line", "done", f"The line is at version {newest.version} ('{newest.given_as}').")
    return StageStatus("line", "open", "Add the line as MIDI in sounding pitch.", "obbligato line JOB FILE.mid")


def _review(folder: JobFolder) -> StageStatus:
    rounds = folder.job.rounds
    if not rounds:
        return StageStatus("review", "open", "Make the client's review file.", "obbligato review JOB")
    last = rounds[-1]
    if folder.job.lines and last.line_version != folder.job.lines[-1].version:
        newest = folder.job.lines[-1].version
        sentence = f"The client has seen line version {last.line_version}, not version {newest}; send it."
        return StageStatus("review", "stale", sentence, "obbligato review JOB")
    if last.replied_at is None:
        sentence = f"Round {last.number} waits for the client's reply."
        return StageStatus("review", "waiting", sentence, "obbligato reply JOB FILE")
    if last.asks_for_changes:
        sections = ", ".join(answer.section for answer in last.answers if answer.answer != "yes")
        sentence = f"The client asks for changes in {sections}; add a new version."
        return StageStatus("review", "stale", sentence, "obbligato line JOB FILE")
    return StageStatus("review", "done", f"The client said yes to line version {last.line_version}.")


def _takes(folder: JobFolder) -> StageStatus:
    if cut_off_takes(folder):
        return StageStatus("takes", "open", "A take was cut off; recover it.", "obbligato record JOB --recover")
    takes, n_left_out = folder.job.takes_in_use, len(folder.job.left_out)
    if not takes:
        return StageStatus("takes", "open", "Record, and add the takes.", "obbligato takes JOB add FILE...")
    left_out = f", and {n_left_out} left out" if n_left_out else ""
    return StageStatus("takes", "done", f"{len(takes)} {'take is' if len(takes) == 1 else 'takes are'} in{left_out}.")


def _made(folder: JobFolder, stage: Stage, name: str, command: str) -> StageStatus:
    made = folder.job.last_made(stage)
    if made is None:
        return StageStatus(stage, "open", f"Make the {name}.", command)
    if made.from_key != stage_key(folder, stage):
        return StageStatus(stage, "stale", f"The {name} was made before the latest changes; make it anew.", command)
    return StageStatus(stage, "done", f"The {name} is in {made.folder}." if made.folder else f"The {name} is done.")
