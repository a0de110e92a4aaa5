"""Sentences written for the terminal, as the page says them: no commands, no options, no folders inside the job."""

from __future__ import annotations

import re

_PAGE_WORDS: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(terminal), page)
    for terminal, page in (
        (r"add one with: obbligato line \S+ \S+", "write one under Line, or drop a MIDI file there."),
        (r"To go on without it: obbligato takes \S+ leave-out \d+", "To go on without it, leave it out under Takes."),
        (
            r"name the one to use with --phrase 1 --take N, or add the line with: obbligato line \S+ \S+",
            "choose the one to use under Takes, or add the line under Line.",
        ),
        (
            r"start one with: obbligato new \S+ --guide \S+ --instrument \S+",
            "start one by dropping a guide on the jobs.",
        ),
        (r"add some with: obbligato takes \S+ add \S+", "drop some under Takes."),
        (
            r"Give the tempo by hand, in a job: obbligato map \S+ --bpm \S+ --bar-1 \S+",
            "Give the tempo and the place of bar 1 by hand, under Song.",
        ),
        (r"deliver all the same with --without-yes", "tick that you deliver all the same"),
        (
            r"--double and --halve undo each other; give one of them",
            "Twice and half as fast undo each other; take one",
        ),
        (
            r"Another command changed (.*); nothing was saved, run this one again",
            r"Something else changed \1; nothing was saved, do it again",
        ),
        (
            r"Another command is at work on (.*) has ended, then run this again",
            r"Something else is at work on \1 has ended, then try again",
        ),
        (r"^Map the song\.", "Listen to the guide."),
        (r"plug one in, and look with: obbligato record JOB --devices", "plug one in, and look again."),
        (r"choose (one|another one): obbligato record JOB --devices", r"choose \1 from the list."),
        (
            r"or record elsewhere and add the files: obbligato takes \S+ add \S+",
            "or drop files recorded elsewhere under Takes.",
        ),
        (
            r"leave the cable in and record with --measure-each",
            "leave the cable in and tick that each take measures it",
        ),
        (r"or record all the same with --anyway", "or tick that you record all the same"),
        (r"choose a (smaller|larger) --block", r"choose \1 blocks"),
        (r"measure it once with: obbligato record JOB --calibrate", "measure it once under Ready."),
        (r"add it by hand: obbligato takes JOB add \S+", "drop that file under Takes."),
        (r"look at them with: obbligato map JOB", "look at them on the chart."),
        (r"make one with: obbligato mockup JOB", "make one under Line, or turn it off here."),
        (r" is in [\w-]+/[\w/.-]*\w\.$", " is made."),
    )
)
_ANY_COMMAND = re.compile(r"(?:[;,:.]\s[^;,:.]*:?|:)\s*obbligato [a-z].*$")


def page_words(sentence: str) -> str:
    """A sentence with the page's own way of doing a thing in place of the command that does it.

    >>> page_words("This job has no line yet; add one with: obbligato line JOB FILE.mid")
    'This job has no line yet; write one under Line, or drop a MIDI file there.'
    >>> page_words("The part is out of date; make it anew with: obbligato part JOB")
    'The part is out of date.'
    """
    for terminal, page in _PAGE_WORDS:
        sentence = terminal.sub(page, sentence)
    return _ANY_COMMAND.sub(".", sentence)
