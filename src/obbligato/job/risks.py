"""What the brief leaves open: twelve questions worth asking before a note is written, and what silence may cost.

The questions and their costs are common practice among players who record at home; no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.job.model import Brief


@dataclass(frozen=True)
class Question:
    """One question to the client.

    Attributes
    ----------
    fields
        Fields of `Brief` that hold the answer; the question is open while any of them is empty.
    question
        As it is asked.
    consequence
        What may happen while it stays open: one sentence.
    """

    fields: tuple[str, ...]
    question: str
    consequence: str


QUESTIONS = (
    Question(
        ("wishes",),
        "What is to be added, and where?",
        "The part may be written for places where nobody wanted one.",
    ),
    Question(
        ("writer",),
        "Who writes the line?",
        "Writing is work of its own: its fee, its credit and its rights stay unsettled.",
    ),
    Question(
        ("lines", "layers"),
        "How many lines, and how many layers of each?",
        "Each further line or layer asked for later is playing that nobody has agreed to pay for.",
    ),
    Question(
        ("references",),
        "Which songs show the sound and the manner that is meant?",
        "Lush or punchy means something else to everyone, and the first round goes into finding out what.",
    ),
    Question(
        ("avoid",),
        "What is to be avoided?",
        "The one thing the client cannot bear may be in the part, and cost a round.",
    ),
    Question(
        ("purpose",),
        "Is this the final part or a demo?",
        "A demo may end up in the released song, or a final part be made with the care and the fee of a demo.",
    ),
    Question(
        ("stated_bpm", "stated_key", "stated_meter"),
        "Which tempo, key and time signature does the client work in?",
        "Tempo, key and metre rest on listening alone; nothing the client says bears them out.",
    ),
    Question(
        ("sample_rate", "bit_depth"),
        "Which sample rate and bit depth does the client's session have?",
        "The part goes out at the guide's rate and at least 24 bits; a session that differs has to convert it.",
    ),
    Question(
        ("vocal_stem",),
        "Is there a track of the singer alone?",
        "Where the singer rests is heard out of the whole mix, so that openings may be a guess.",
    ),
    Question(
        ("deadline", "time_zone"),
        "By when is it due, and in whose time zone?",
        "The part may come a day late without anyone having said so.",
    ),
    Question(
        ("approver",),
        "Who is the one person who says yes?",
        "Wishes of several people may contradict each other, and each contradiction is a round.",
    ),
    Question(
        ("usage", "credit"),
        "What will the song be used for, and how is the player credited?",
        "What the fee pays for, and whether the name appears, stays open until it is hard to ask.",
    ),
)


def unanswered(brief: Brief, *, has_vocal: bool = False) -> tuple[Question, ...]:
    """The questions that the brief leaves open, in the order in which they are asked.

    Parameters
    ----------
    has_vocal
        Whether the singer's own track is in the job, which answers that question.
    """
    given = {"vocal_stem"} if has_vocal else set()
    return tuple(
        question
        for question in QUESTIONS
        if any(getattr(brief, field) in ("", None) for field in question.fields if field not in given)
    )
