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
    cents_just
        Centre of its pitch against the just interval over the root of the chord that sounds; None without chords.
    steadiness_cents
        Robust spread of the pitch within the note, vibrato taken out.
    vibrato_hz, vibrato_cents
        Rate, and half the width; None where there is none, or too little of the note to say.
    groove_ms
        Start against where the guide's own playing lies around there; None without a guide.
    release_ms
        End against the line (positive: held on too long).
    brightness_hz
        Centre of gravity of the spectrum.
    """

    index: int
    played: bool
    cents: float | None
    onset_ms: float | None
    level_db: float | None
    cents_just: float | None = None
    steadiness_cents: float | None = None
    vibrato_hz: float | None = None
    vibrato_cents: float | None = None
    groove_ms: float | None = None
    release_ms: float | None = None
    brightness_hz: float | None = None


@dataclass(frozen=True)
class ScoreParts:
    """Points that a phrase lost, by what for; with its score they come to 100, unless that was floored at 0.

    Attributes
    ----------
    notes
        Missed, wrong and extra notes, and a phrase cut off.
    time, tune
        Late or early, uneven; flat or sharp, uneven.
    noise
        Everything heard that is not the playing, and sound that is damaged.
    tone
        Sound that is not the instrument's own: too narrow, or altered by noise suppression.
    level
        Softer than the rest, or hardly above the room.
    """

    notes: float = 0.0
    time: float = 0.0
    tune: float = 0.0
    noise: float = 0.0
    tone: float = 0.0
    level: float = 0.0


@dataclass(frozen=True)
class PhraseReading:
    """How one phrase was played.

    Attributes
    ----------
    score
        0 to 100.
    verdict
        In words.
    flags
        Faults as single words, gravest first.
    score_parts
        What the points were lost for.
    breath_dbfs
        The loudest breath in the rest before the phrase; None where none was heard.
    """

    index: int
    score: float
    verdict: str
    flags: tuple[str, ...]
    notes: tuple[NoteReading, ...]
    extra_notes: int
    score_parts: ScoreParts = ScoreParts()
    breath_dbfs: float | None = None


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
    steps
        Every lasting jump that was found: where on the guide's time, and milliseconds.
    """

    lateness_ms: float = 0.0
    slope_ppm: float = 0.0
    step_ms: float = 0.0
    step_at_s: float | None = None
    scatter_ms: float = 0.0
    steps: tuple[tuple[float, float], ...] = ()


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
    flags
        Faults of the take as a whole, as single words; they stand in every phrase they touch as well.
    remarks
        What is to be said about the take as a whole, in plain sentences.
    """

    path: str
    offset_ms: float
    drift_ppm: float
    tuning_cents: float
    phrases: tuple[PhraseReading, ...]
    timing: TakeTiming = TakeTiming()
    sentence: str = ""
    flags: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Piece:
    """Part of a phrase, notes `first_note` to `last_note` (both included), from one take."""

    first_note: int
    last_note: int
    take: str


@dataclass(frozen=True)
class Choice:
    """For a phrase, the take to use (its path as given), why, and what would change the choice.

    Where the phrase is put together from several takes, `pieces` lists its parts in order, and `take` is the one that
    most of it comes from; else there are none.
    """

    phrase: int
    take: str
    why: str
    change: str = ""
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True)
class Seam:
    """A join between two takes in the comp, with the steps measured across it.

    Attributes
    ----------
    tone_step_db
        Difference of the tilt of the two spectra; None as long as the sound was not looked at.
    polarity
        "same", "turned" or "unknown".
    law
        Of the fade: "equal_power", "equal_gain" or "by_correlation".
    correlation
        Of the two takes across the fade, -1 to 1; None as long as the sound was not looked at.
    """

    at_s: float
    from_take: str
    to_take: str
    fade_ms: float
    level_step_db: float
    pitch_step_cents: float
    noise_step_db: float
    tone_step_db: float | None = None
    polarity: str = "unknown"
    law: str = "by_correlation"
    correlation: float | None = None


@dataclass(frozen=True)
class Assessment:
    """Everything `assess` finds; `coverage` says which phrases have too few usable versions."""

    line: TimedLine
    takes: tuple[TakeReading, ...]
    choice: tuple[Choice, ...]
    seams: tuple[Seam, ...]
    format_version: int = FORMAT_VERSION
    coverage: str = ""
