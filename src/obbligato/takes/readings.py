"""What reading takes yields, in the shape of `assess --json`."""

from __future__ import annotations

from dataclasses import dataclass

FORMAT_VERSION = 1


@dataclass(frozen=True)
class TimedNote:
    """A note of the line on the guide's time: `index` into the line, seconds, sounding MIDI pitch."""

    index: int
    start_s: float
    end_s: float
    midi: int


@dataclass(frozen=True)
class PhraseSpan:
    """Notes `first_note` to `last_note` (both included) belong together."""

    index: int
    first_note: int
    last_note: int


@dataclass(frozen=True)
class TimedLine:
    """The line on the guide's time."""

    notes: tuple[TimedNote, ...]
    phrases: tuple[PhraseSpan, ...]


@dataclass(frozen=True)
class NoteReading:
    """How one note was played.

    Attributes
    ----------
    played
        Whether the note was heard at about its place and pitch.
    cents
        Centre of its pitch against the song's own tuning, equal temperament; None where not played or unpitched.
    onset_ms
        Start against the line (positive: late), after the take's own offset and drift are taken out.
    level_db
        RMS level over the note, dBFS.
    """

    index: int
    played: bool
    cents: float | None
    onset_ms: float | None
    level_db: float | None


@dataclass(frozen=True)
class PhraseReading:
    """How one phrase was played: `score` 0 to 100, a verdict in words, flags as single words."""

    index: int
    score: float
    verdict: str
    flags: tuple[str, ...]
    notes: tuple[NoteReading, ...]
    extra_notes: int


@dataclass(frozen=True)
class TakeTiming:
    """Four faults of timing, kept apart; milliseconds against the line, positive: late.

    Attributes
    ----------
    lateness_ms
        Constant: what is left on the whole after the take's offset is taken out.
    slope_ppm
        Lateness growing along the take, 0 unless significant; the same as the take's drift.
    step_ms, step_at_s
        A lasting jump between two phrases (positive: later from there on), and where on the guide's time; 0 and
        None unless significant.
    scatter_ms
        The player's spread about all that, robust standard deviation over notes.
    """

    lateness_ms: float = 0.0
    slope_ppm: float = 0.0
    step_ms: float = 0.0
    step_at_s: float | None = None
    scatter_ms: float = 0.0


@dataclass(frozen=True)
class TakeReading:
    """How one take was played and where it lies.

    Attributes
    ----------
    offset_ms
        Where the take's first sample lies on the guide's time (positive: the take starts later).
    drift_ppm
        Clock of the take against the guide's (positive: the take runs slow and falls behind).
    tuning_cents
        Median of the played notes' cents against the song's tuning.
    timing
        The take as a whole.
    sentence
        Where the take lies and how it was found, in words.
    """

    path: str
    offset_ms: float
    drift_ppm: float
    tuning_cents: float
    phrases: tuple[PhraseReading, ...]
    timing: TakeTiming = TakeTiming()
    sentence: str = ""


@dataclass(frozen=True)
class Choice:
    """For a phrase, the take to use (its path as given) and why."""

    phrase: int
    take: str
    why: str


@dataclass(frozen=True)
class Seam:
    """A join between two takes in the comp, with the steps measured across it."""

    at_s: float
    from_take: str
    to_take: str
    fade_ms: float
    level_step_db: float
    pitch_step_cents: float
    noise_step_db: float


@dataclass(frozen=True)
class Assessment:
    """Everything `assess` finds."""

    line: TimedLine
    takes: tuple[TakeReading, ...]
    choice: tuple[Choice, ...]
    seams: tuple[Seam, ...]
    format_version: int = FORMAT_VERSION
