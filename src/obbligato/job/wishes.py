"""What the player wants of the comp, kept in the job: takes by hand, the dial, the base, gains, and an edit list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.choice_text import TextLine, read_choice_text
from obbligato.job.mapping import song_map
from obbligato.job.model import WHOLE_TAKE, Joining
from obbligato.job.proposing import Proposal, propose
from obbligato.job.soloing import solo_so_far
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line
from obbligato.progress import Progress, silent

MOST_GAIN_DB = 40.0


def set_overrides(folder: JobFolder, chosen: Mapping[int, int | None], *, clear: bool = False) -> None:
    """Keep the player's own choices: by phrase (from 1), the number of a take, or None to take a choice back.

    Raises
    ------
    InputError
        When there is no such phrase or take.
    """
    for phrase, take in chosen.items():
        require_phrase(folder, phrase)
        if take is not None:
            require_take(folder, take)
    wanted = {**({} if clear else folder.job.overrides), **chosen}
    overrides = {phrase: take for phrase, take in wanted.items() if take is not None}
    words = [
        f"{phrase_name(phrase)} as proposed" if take is None else f"take {take} for {phrase_name(phrase)}"
        for phrase, take in sorted(chosen.items())
    ]
    folder.save("choose", ", ".join(words) or "choices by hand forgotten", overrides=overrides)


def phrase_name(phrase: int) -> str:
    """How a phrase is called in a history: by its number, or as all of a solo."""
    return "the whole" if phrase == WHOLE_TAKE else f"phrase {phrase}"


def set_joining(
    folder: JobFolder,
    *,
    joins: float | None = None,
    base: int | None = None,
    inside: Sequence[int] = (),
    gains_db: Mapping[int, float] | None = None,
    clear: bool = False,
) -> None:
    """Keep how takes are to be joined; what is not given stays as it is.

    Parameters
    ----------
    joins
        From 0, as few joins as possible, to 1, the best of each phrase.
    base
        The take to keep where no other is clearly better.
    inside
        Phrases that may be put together from several takes, besides those that may already.
    gains_db
        By take; 0 takes a gain back.
    clear
        Forget what was wanted before.

    Raises
    ------
    InputError
        When there is no such phrase or take, or a number is out of its range.
    """
    if joins is not None and not 0.0 <= joins <= 1.0:
        raise InputError(f"Joins of {joins:g}: give a number from 0 (fewest) to 1 (best), or one of these words.")
    for phrase in inside:
        require_phrase(folder, phrase)
    for take, db in (gains_db or {}).items():
        require_take(folder, take)
        if not abs(db) <= MOST_GAIN_DB:
            raise InputError(
                f"Take {take}, gain of {db:g} dB: give a gain from -{MOST_GAIN_DB:.0f} to {MOST_GAIN_DB:.0f} dB."
            )
    if base is not None:
        require_take(folder, base)
    before = Joining() if clear else folder.job.joining
    gains = {take: db for take, db in {**before.gains_db, **(gains_db or {})}.items() if db}
    after = Joining(
        joins=before.joins if joins is None else joins,
        base=before.base if base is None else base,
        inside=before.inside | frozenset(inside),
        gains_db=gains,
    )
    if after != folder.job.joining:
        folder.save("choose", f"joins: {joining_in_words(after)}", joining=after)


def match_levels(folder: JobFolder, *, progress: Progress = silent) -> Mapping[int, float]:
    """Take over the gains that would match the takes of the choice as it stands; by number, in dB.

    Raises
    ------
    InputError
        As `propose`.
    """
    proposal = propose(folder, song_map(folder), progress=progress)
    numbers = {take.file: take.number for take in folder.job.takes}
    gains_db = {numbers[path]: db for path, db in proposal.matching_db.items()}
    set_joining(folder, gains_db=gains_db)
    return gains_db


def follow_text(folder: JobFolder, file: Path, *, progress: Progress = silent) -> None:
    """Take over the takes and gains of an edit list in words; phrases that it leaves out stay as they are.

    Only phrases for which the list has another take than the job's own choice become choices by hand.

    Raises
    ------
    InputError
        When a line of the list cannot be read, or names a phrase or take that the job does not have; nothing is
        changed then.
    """
    n_phrases = n_phrases_of(folder)
    if not n_phrases:
        raise InputError(
            "There are no phrases to choose for yet; add the line with: obbligato line JOB FILE.mid, or choose once."
        )
    numbers = [take.number for take in folder.job.takes_in_use]
    wanted = read_choice_text(file, n_phrases=n_phrases, takes=numbers)
    _set_gains(folder, wanted)
    song = song_map(folder)
    for _ in range(n_phrases + 1):
        proposal = propose(folder, song, progress=progress)
        other = _other_takes(folder, proposal, wanted)
        if not other:
            return
        set_overrides(folder, dict(other))


def _set_gains(folder: JobFolder, wanted: Sequence[TextLine]) -> None:
    set_joining(folder, gains_db={line.take: line.gain_db for line in wanted})


def _other_takes(folder: JobFolder, proposal: Proposal, wanted: Sequence[TextLine]) -> dict[int, int]:
    """By phrase, the take of the list where the proposal has another; a phrase of several takes is left alone."""
    files = {take.number: take.file for take in folder.job.takes}
    chosen = {c.phrase + 1: c for c in proposal.assessment.choice}
    return {line.phrase: line.take for line in wanted if chosen[line.phrase].take != files[line.take]}


def joining_in_words(joining: Joining) -> str:
    """The player's wishes as a phrase."""
    said = {0.0: "as few as possible", 0.5: "balanced", 1.0: "the best of each phrase"}
    words = [said.get(joining.joins, f"{joining.joins:g} of 1")]
    if joining.base is not None:
        words.append(f"take {joining.base} as the base")
    if joining.inside:
        words.append(f"inside phrase {', '.join(map(str, sorted(joining.inside)))} too")
    words += [f"take {take} {db:+.1f} dB" for take, db in sorted(joining.gains_db.items())]
    return ", ".join(words)


def require_phrase(folder: JobFolder, phrase: int) -> None:
    """Refuse a phrase that the line, or the solos as read, do not have; without a line 0 is the whole take."""
    n_phrases = n_phrases_of(folder)
    if phrase == WHOLE_TAKE and not folder.job.lines:
        return
    if not 1 <= phrase <= n_phrases:
        whose = "the line has" if folder.job.lines else "the takes, compared with one another, have"
        known = f"{whose} phrases 1 to {n_phrases}" if n_phrases else "the takes have not been read yet"
        raise InputError(f"There is no phrase {phrase}; {known}.")


def n_phrases_of(folder: JobFolder) -> int:
    """How many phrases can be chosen for: those of the line; without one, those of the takes as compared."""
    if folder.job.lines:
        return len(current_line(folder).line.phrases)
    read = solo_so_far(folder)
    return len(read.line.phrases) if read is not None else 0


def require_take(folder: JobFolder, take: int) -> None:
    """Refuse a take that is not there, or was left out."""
    numbers = [t.number for t in folder.job.takes_in_use]
    if take not in numbers:
        there = f"takes {', '.join(map(str, numbers))}" if numbers else "no takes yet"
        raise InputError(f"There is no take {take}; the job has {there}.")
