"""What a song of the bench is, and what is true of it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path


@dataclass(frozen=True)
class Spec:
    """One song of the bench.

    Attributes
    ----------
    source
        Who writes it: `form` (an invented song), `tune` (a melody of music21's corpus), `band` (`bench/band.py`)
        or `demo` (the demo's own song and players).
    style
        A groove of `grooves`, a style of `band`, or empty for the demo.
    sound
        `bank` (the General MIDI bank of pretty_midi) or `synth` (`synth`).
    course, count_in, mix, singer
        Names of `courses`, `count_ins`, `mixes`, `singers`.
    a4_hz
        What the song is tuned to.
    voice_db
        The singer against the band, both by their level while they sound.
    lead
        Program of an instrument that plays in place of a singer (or answers one), or None.
    """

    name: str
    source: str
    style: str
    bpm: float
    seed: int
    sound: str = "bank"
    seconds: float = 80.0
    course: str = "steady"
    count_in: str = "none"
    mix: str = "dry"
    singer: str = "none"
    a4_hz: float = 440.0
    voice_db: float = 2.0
    mode: str = "major"
    rise: bool = False
    sevenths: float = 0.0
    lead: int | None = None
    comp: int = 4
    bass: int = 32
    tune: str = ""
    quick: bool = False


@dataclass(frozen=True)
class Truth:
    """What is true of a rendered song; seconds are those of the file, beats the metre's own, from bar 1 on.

    `bpm` is that of a steady song, otherwise the mean; `clicks` is 0 without a count-in; `end_s` ends the last bar.
    """

    bpm: float
    steady: bool
    beats_s: list[float]
    downbeats_s: list[float]
    beats_per_bar: int
    beat_unit: str
    clicks: int
    cents: float
    keys: list[tuple[float, str, str]]
    chords: list[tuple[float, float, str]]
    voice: list[tuple[float, float]]
    end_s: float
    has_pitch: bool = True

    @property
    def bar_1_s(self) -> float:
        """Where bar 1 begins."""
        return self.beats_s[0]

    def save(self, path: Path) -> None:
        """Write as JSON."""
        path.write_text(json.dumps(asdict(self)))

    @staticmethod
    def load(path: Path) -> Truth:
        """Read what `save` wrote."""
        return Truth(**json.loads(path.read_text()))
