"""The choice as text, one line a phrase, that a player reads, changes and hands back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from obbligato.errors import InputError
from obbligato.job.proposing import Proposal
from obbligato.job.sheet import in_words, take_name
from obbligato.music.grid import Grid
from obbligato.takes.readings import Seam
from obbligato.takes.seam_reel import reel_times_s
from obbligato.takes.steps import seam_words
from obbligato.units import seconds_to_clock

TEXT = "choice.txt"
_HEAD = """\
# {title}
#
# One line a phrase: phrase | bars | take | gain | seam before it | why. Change a take or a gain and hand the file
# back with: obbligato choose JOB --from FILE. Only phrase, take and gain are read; a gain holds for the whole take.
#
# {coverage}
#
"""
_MOST_BYTES = 1_000_000


@dataclass(frozen=True)
class TextLine:
    """What one line of the list asks for: a phrase from 1, the take, and the take's gain."""

    phrase: int
    take: int
    gain_db: float


def choice_text(proposal: Proposal, grid: Grid, *, title: str) -> str:
    """The choice as text; below it the seams in the order in which `seams.wav` has them."""
    assessment, line = proposal.assessment, proposal.assessment.line
    before = _seams_by_phrase(proposal)
    rows = []
    for choice in assessment.choice:
        span = line.phrases[choice.phrase]
        bars = [grid.position_at(line.notes[i].start_s).bar for i in (span.first_note, span.last_note)]
        following = f" {in_words(choice.change, assessment)}" if choice.change else ""
        rows.append(
            (
                str(choice.phrase + 1),
                str(bars[0]) if bars[0] == bars[1] else f"{bars[0]}-{bars[1]}",
                take_name(choice.take),
                f"{proposal.gains_db.get(choice.take, 0.0):+.1f} dB",
                "; ".join(_place(seam, grid) for seam in before[choice.phrase]) or "-",
                (in_words(choice.why, assessment) + following).replace("|", "/"),
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(5)]
    text = [" | ".join([*(cell.ljust(w) for cell, w in zip(row, widths, strict=False)), row[5]]) for row in rows]
    head = _HEAD.format(title=" ".join(title.split()), coverage=proposal.coverage)
    return head + "\n".join(text) + "\n" + _reel_words(assessment.seams, grid)


def _seams_by_phrase(proposal: Proposal) -> list[list[Seam]]:
    """For each phrase, the seams after the phrase before it has begun to end, up to its own last note."""
    line = proposal.assessment.line
    ends_s = [line.notes[span.last_note].start_s for span in line.phrases]
    by_phrase: list[list[Seam]] = [[] for _ in ends_s]
    for seam in proposal.assessment.seams:
        by_phrase[next((i for i, end_s in enumerate(ends_s) if seam.at_s < end_s), len(ends_s) - 1)].append(seam)
    return by_phrase


def _place(seam: Seam, grid: Grid) -> str:
    bar, beat = grid.spoken_position(float(grid.sec_to_beat(seam.at_s)))
    return f"bar {bar} beat {beat:.1f}, {seconds_to_clock(seam.at_s)}, fade {seam.fade_ms:.0f} ms"


def _reel_words(seams: Sequence[Seam], grid: Grid) -> str:
    if not seams:
        return "#\n# There are no seams: it is one take throughout.\n"
    lines = ["#", "# The seams one after another are seams.wav:"]
    for i, (seam, at_s) in enumerate(zip(seams, reel_times_s(len(seams)), strict=True), 1):
        lines.append(
            f"# {i}. at {seconds_to_clock(at_s)} of it: {_place(seam, grid)}, {take_name(seam.from_take)} to "
            f"{take_name(seam.to_take)}; {seam_words(seam)}"
        )
    return "\n".join(lines) + "\n"


def read_choice_text(file: Path, *, n_phrases: int, takes: Sequence[int]) -> tuple[TextLine, ...]:
    """The list as a player hands it back.

    Raises
    ------
    InputError
        When the file is not there or is no text, a line cannot be read, or it names a phrase or take that is not
        there; the message says which line.
    """
    try:
        data = file.read_bytes()
        text = data.decode("utf-8-sig") if len(data) <= _MOST_BYTES else None
    except OSError:
        raise InputError(f"There is no file '{file}' that can be read; check the name.") from None
    except UnicodeDecodeError:
        text = None
    if text is None:
        raise InputError(f"'{file}' is not an edit list; give a {TEXT} from a folder in comp/, changed or not.")
    lines: list[TextLine] = []
    for number, words in enumerate(text.splitlines(), 1):
        if not words.strip() or words.lstrip().startswith("#"):
            continue
        try:
            lines.append(_read_line(words, lines, n_phrases=n_phrases, takes=takes))
        except InputError as error:
            raise InputError(f"Line {number} of '{file.name}': {error}") from None
    if not lines:
        raise InputError(f"'{file}' has no line with a phrase in it; give a {TEXT} from a folder in comp/.")
    return tuple(lines)


def _read_line(words: str, before: Sequence[TextLine], *, n_phrases: int, takes: Sequence[int]) -> TextLine:
    cells = [cell.strip() for cell in words.split("|")]
    if len(cells) < 4:
        raise InputError(
            "phrase, bars, take and gain are needed, with | between them, as in: 4 | 13-16 | take 2 | 0 dB"
        )
    if not re.fullmatch(r"\d{1,4}", cells[0]) or not 1 <= int(cells[0]) <= n_phrases:
        raise InputError(f"there is no phrase '{cells[0]}'; the line has phrases 1 to {n_phrases}.")
    named = re.fullmatch(r"(?:take\s*)?(\d{1,6})", cells[2], re.IGNORECASE)
    if named is None or int(named[1]) not in takes:
        raise InputError(f"there is no '{cells[2]}' in use; the job has takes {', '.join(map(str, takes))}.")
    gain = re.fullmatch(
        r"([+-]?\d{1,2}(?:[.,]\d+)?)\s*(?:dB)?", cells[3].replace("\N{MINUS SIGN}", "-"), re.IGNORECASE
    )
    if gain is None or abs(float(gain[1].replace(",", "."))) > 40.0:
        raise InputError(f"'{cells[3]}' is no gain; give -40 to 40 dB, as in: +1.5 dB")
    line = TextLine(int(cells[0]), int(named[1]), float(gain[1].replace(",", ".")))
    for other in before:
        if other.phrase == line.phrase:
            raise InputError(f"phrase {line.phrase} stands in the list twice; leave one of the lines out.")
        if other.take == line.take and other.gain_db != line.gain_db:
            raise InputError(
                f"take {line.take} has {line.gain_db:+g} dB here and {other.gain_db:+g} dB in phrase {other.phrase}; "
                "a gain holds for the whole take, so write the same in all its lines."
            )
    return line
