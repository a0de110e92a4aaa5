"""Fingerprints of what a stage's result was made from; when one changes, the result is stale."""

from obbligato.job.line_marks import stored_marks
from obbligato.job.mapping import map_key, sung_words
from obbligato.job.model import Stage, TakeRef
from obbligato.job.store import JobFolder, fingerprint


def line_key(folder: JobFolder) -> str:
    """Changes with the guide, the map and the newest version of the line, its marks among it."""
    if not folder.job.lines:
        return fingerprint(map_key(folder), "no line")
    newest = folder.job.lines[-1]
    marks = stored_marks(folder, newest.file)
    return fingerprint(map_key(folder), newest.sha256, *([] if marks is None else [marks.decode(errors="replace")]))


def part_key(folder: JobFolder) -> str:
    """Changes with all that `line_key` does, and the words that stand on the page as cues."""
    words = sung_words(folder)
    return fingerprint(line_key(folder), *words) if words else line_key(folder)


def choice_key(folder: JobFolder) -> str:
    """Changes with all that `line_key` does, the takes, the player's own choices among them, and how to join them."""
    takes = [(take.sha256, take.starts_at_s) for take in folder.job.takes_in_use]
    joining = folder.job.joining
    return fingerprint(
        line_key(folder),
        takes,
        sorted(folder.job.overrides.items()),
        joining.joins,
        joining.base,
        sorted(joining.inside),
        sorted(joining.gains_db.items()),
        *(text for take in folder.job.takes_in_use for text in _mended_parts(folder, take)),
    )


def mended_key(folder: JobFolder, take: TakeRef) -> str:
    """Changes with the take, what is to be mended in it, and all that this is mended by."""
    click = folder.job.last_made("click")
    return fingerprint(
        line_key(folder),
        take.sha256,
        take.starts_at_s,
        click.folder if click is not None else "no click",
        *_mended_parts(folder, take),
    )


def stage_key(folder: JobFolder, stage: Stage) -> str:
    """The fingerprint that what a stage made now would have."""
    if stage == "click":
        return map_key(folder)
    if stage == "part":
        return part_key(folder)
    return choice_key(folder) if stage in {"choose", "deliver"} else line_key(folder)


def _mended_parts(folder: JobFolder, take: TakeRef) -> list[str]:
    mends = folder.job.mended.get(take.number)
    return [f"{take.number}: {', '.join(mends)}"] if mends else []
