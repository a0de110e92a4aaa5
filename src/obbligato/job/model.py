"""What a job knows: the brief, the decisions, and what was made from what; the content of `job.json`."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from obbligato.music.spans import Mode

SCHEMA_VERSION: Literal[1] = 1

Stage = Literal[
    "new",
    "map",
    "line",
    "check",
    "mockup",
    "review",
    "reply",
    "part",
    "click",
    "takes",
    "choose",
    "deliver",
    "account",
]
Answer = Literal["yes", "change", "leave out"]
Mark = Literal["good", "again", "noise"]
Text = Annotated[str, Field(max_length=20_000)]
Count = Annotated[int, Field(ge=1, le=1000)]


class _Record(BaseModel):
    """A value object: unknown keys are refused, so that a misspelt key is never lost in silence."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Brief(_Record):
    """What was agreed with the client, in the client's words where there are any.

    An empty text or None is a question that nobody has answered; `job.risks` says what that may cost.

    Attributes
    ----------
    deadline, time_zone
        A date or moment as ISO 8601 has it (`2026-12-01`, `2026-12-01T18:00+01:00`), or any words; the zone by its
        name in the tz database (`Europe/Paris`), or any words.
    writer
        Who writes the line that is played.
    lines, layers
        How many different lines, and how often each is played on top of itself.
    stated_bpm, stated_key, stated_meter
        As the client says them, which need not be what the guide does.
    """

    title: Text
    client: Text = ""
    player: Text = ""
    approver: Text = ""
    wishes: Text = ""
    deadline: Text = ""
    rounds_included: Annotated[int, Field(ge=0, le=1_000_000)] = 2
    fee: Annotated[float | None, Field(ge=0, allow_inf_nan=False)] = None
    currency: Text = ""
    writer: Literal["", "player", "client", "both"] = ""
    lines: Count | None = None
    layers: Count | None = None
    references: Text = ""
    avoid: Text = ""
    purpose: Literal["", "final", "demo"] = ""
    stated_bpm: Annotated[float | None, Field(gt=0, le=1000)] = None
    stated_key: Text = ""
    stated_meter: Text = ""
    sample_rate: Annotated[int | None, Field(gt=0, le=1_000_000)] = None
    bit_depth: Annotated[int | None, Field(gt=0, le=64)] = None
    vocal_stem: Literal["", "yes", "no"] = ""
    time_zone: Text = ""
    usage: Text = ""
    credit: Text = ""


class GuideRef(_Record):
    """The guide as received and its PCM copy, both inside the job folder."""

    received: str
    pcm: str
    sha256: str
    vocal: str | None = None

    @property
    def given_as(self) -> str:
        """The name of the file as received."""
        return self.received.rpartition("/")[2]


class OtherGuide(_Record):
    """A guide in the job folder that the job does not go by.

    Attributes
    ----------
    state
        `waiting` for a word on it, `left` aside, or gone by `before`.
    """

    guide: GuideRef
    at: datetime
    state: Literal["waiting", "left", "before"]


class LineVersion(_Record):
    """One version of the line: the MIDI file as given, how its time zero was read, and the guide it was written for.

    `guide_sha256` is None for the guide that the job began with.
    """

    version: int
    file: str
    sha256: str
    given_as: str
    start: Literal["guide", "bar-1"]
    guide_sha256: str | None = None


class TakeRef(_Record):
    """One take as received; `starts_at_s` is set when the player states where it starts.

    Attributes
    ----------
    cut_from, from_frame
        For a pass that was cut out of another take, its number and the first frame; None and 0 else.
    """

    number: int
    file: str
    sha256: str
    given_as: str
    sample_rate: int
    frames: int
    line_version: int | None
    guide_sha256: str
    starts_at_s: float | None = None
    cut_from: int | None = None
    from_frame: int = 0


class Made(_Record):
    """Something a stage made, and the fingerprint of all that it was made from."""

    stage: Stage
    folder: str
    at: datetime
    from_key: str
    line_version: int | None = None


class SectionAnswer(_Record):
    """The client's answer for one section of the form."""

    section: str
    answer: Answer
    remark: str = ""


class Round(_Record):
    """A review sent to the client and, once it came, their answer."""

    number: int
    folder: str
    line_version: int
    fingerprint: str
    sent_at: datetime
    replied_at: datetime | None = None
    replied_by: str = ""
    answers: tuple[SectionAnswer, ...] = ()

    @property
    def asks_for_changes(self) -> bool:
        """Whether the answer uses up a round."""
        return any(answer.answer != "yes" for answer in self.answers)


WHOLE_TAKE = 0
"""In the place of a phrase: the whole take, where there is no line."""


class Joining(_Record):
    """How the player wants takes joined.

    Attributes
    ----------
    joins
        From 0, as few joins as possible, to 1, the best of each phrase.
    base
        Number of the take to keep where no other is clearly better.
    inside
        The phrases, from 1, that may be put together from several takes.
    gains_db
        By number, what a take is made louder by.
    """

    joins: Annotated[float, Field(ge=0, le=1)] = 0.5
    base: int | None = None
    inside: frozenset[int] = frozenset()
    gains_db: dict[int, Annotated[float, Field(ge=-40, le=40)]] = Field(default_factory=dict)


class Job(_Record):
    """The whole of `job.json`; `revision` grows with each save, so that two writers cannot undo each other.

    Attributes
    ----------
    overrides
        By phrase from 1, the take to use there; `WHOLE_TAKE` stands for all of it where there is no line.
    marks
        By take, what the player said of it after playing it.
    mended
        By take, what the player wants mended in it before it is read and joined, as `job.mends` writes it.
    """

    schema_version: Literal[1] = SCHEMA_VERSION
    revision: int = 0
    created_at: datetime
    brief: Brief
    instrument: str
    guide: GuideRef
    other_guides: tuple[OtherGuide, ...] = ()
    lines: tuple[LineVersion, ...] = ()
    takes: tuple[TakeRef, ...] = ()
    left_out: frozenset[int] = frozenset()
    overrides: dict[int, int] = Field(default_factory=dict)
    marks: dict[int, Mark] = Field(default_factory=dict)
    mended: dict[int, tuple[str, ...]] = Field(default_factory=dict)
    joining: Joining = Joining()
    rounds: tuple[Round, ...] = ()
    made: tuple[Made, ...] = ()

    @property
    def takes_in_use(self) -> tuple[TakeRef, ...]:
        """The takes that the player has not left out."""
        return tuple(take for take in self.takes if take.number not in self.left_out)

    def made_from(self, stage: Stage, key: str) -> Made | None:
        """The newest thing that a stage made, unless what it was made from has changed since."""
        last = self.last_made(stage)
        return last if last is not None and last.from_key == key else None

    def last_made(self, stage: Stage) -> Made | None:
        """The newest thing that a stage made."""
        return next((made for made in reversed(self.made) if made.stage == stage), None)


class KeyCorrection(_Record):
    """From `from_bar` on the song is in this key, whatever was heard."""

    from_bar: int
    tonic: str
    mode: Mode


Doubted = Literal["tempo", "meter", "keys"]
"""What listening may be unsure of, and the player can say is right as heard."""


class ChordCorrection(_Record):
    """At `at_s` of the guide, taken to the nearest beat, this chord begins (Harte syntax, sounding)."""

    at_s: float
    label: str


class SectionCorrection(_Record):
    """At `at_s` of the guide, taken to the nearest bar line, a section begins; with no `label`, none does."""

    at_s: float
    label: str


class SingerCorrection(_Record):
    """From `start_s` to `end_s` of the guide the singer sings, or does not."""

    start_s: float
    end_s: float
    sings: bool


class WordsCorrection(_Record):
    """At `at_s` of the guide these words begin to be sung; typed in by the player, for cues on the page."""

    at_s: float
    text: Annotated[str, Field(max_length=200)]


class Corrections(_Record):
    """What the player put right by hand; kept apart from the findings and never wiped by listening again.

    They are applied in this order: `tapped_s`, `counted_times`, `bpm`, `meter`, `bar_1_s`, `shift_beats`, `keys`,
    `chords`, `sections`, `singer`; `confirmed` settles what was in doubt, `words` change nothing that is heard. Those
    that say what is heard at a place name it in seconds of the guide, so that they stay there when bars are counted
    otherwise later.
    """

    counted_times: str | None = None
    bpm: float | None = None
    meter: str | None = None
    bar_1_s: float | None = None
    shift_beats: float = 0.0
    keys: tuple[KeyCorrection, ...] = ()
    tapped_s: tuple[float, ...] = ()
    chords: tuple[ChordCorrection, ...] = ()
    sections: tuple[SectionCorrection, ...] = ()
    singer: tuple[SingerCorrection, ...] = ()
    confirmed: tuple[Doubted, ...] = ()
    words: tuple[WordsCorrection, ...] = ()

    @property
    def of_the_map(self) -> Corrections:
        """Those that change the song map."""
        return self.model_copy(update={"words": ()})


class Event(_Record):
    """One line of the history."""

    at: datetime
    stage: Stage
    what: str
    minutes: float | None = None
