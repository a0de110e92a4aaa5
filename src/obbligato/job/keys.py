"""Fingerprints of what a stage's result was made from; when one changes, the result is stale."""

from obbligato.job.mapping import map_key
from obbligato.job.model import Stage
from obbligato.job.store import JobFolder, fingerprint


def line_key(folder: JobFolder) -> str:
    """Changes with the guide, the map and the newest version of the line."""
    line = folder.job.lines[-1].sha256 if folder.job.lines else "no line"
    return fingerprint(map_key(folder), line)


def choice_key(folder: JobFolder) -> str:
    """Changes with all that `line_key` does, the takes, and the player's own choices among them."""
    takes = [(take.sha256, take.starts_at_s) for take in folder.job.takes_in_use]
    return fingerprint(line_key(folder), takes, sorted(folder.job.overrides.items()))


def stage_key(folder: JobFolder, stage: Stage) -> str:
    """The fingerprint that what a stage made now would have."""
    if stage == "click":
        return map_key(folder)
    return choice_key(folder) if stage in {"choose", "deliver"} else line_key(folder)
