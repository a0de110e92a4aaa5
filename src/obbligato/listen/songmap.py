"""The song map: all that listening to a guide has found, in the shape of `listen --json`."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan, KeySpan, Opening, SectionSpan, Span
from obbligato.sound.facts import SourceFacts

FORMAT_VERSION = 1


@dataclass(frozen=True)
class TempoChange:
    """From `start_s` on the song goes at `bpm`."""

    start_s: float
    bpm: float


@dataclass(frozen=True)
class TempoStep:
    """At `at_s` the file lacks `beats` beats, or has more where it is negative: a short bar, a pause or an edit."""

    at_s: float
    beats: float


@dataclass(frozen=True)
class Tempo:
    """The tempo of the whole song, and how far it can be trusted.

    Attributes
    ----------
    bpm
        Beats of the metre's unit a minute: of the whole song, or of the straight stretch that makes up most of one
        that is not steady, or else on average.
    steady
        Whether one tempo holds from the first beat to the last.
    confidence
        0 to 1: how sure the tempo, octave included, is.
    scatter_ms
        Standard deviation of heard onsets about the grid.
    slope_ppm
        Drift left over about the stated `bpm`, in parts per million (positive: the file runs slow).
    alternatives
        Other tempi the same song could be counted in, most likely first.
    changes
        Where the tempo is not steady: its course, from the first beat on.
    steps
        Where the count of beats is broken, in order of time.
    """

    bpm: float
    steady: bool
    confidence: float
    scatter_ms: float
    slope_ppm: float
    alternatives: tuple[float, ...]
    changes: tuple[TempoChange, ...]
    steps: tuple[TempoStep, ...] = ()


@dataclass(frozen=True)
class MeterFinding:
    """The metre: beats a bar, what a beat is (`quarter`, `dotted quarter`, ...), and how sure."""

    beats_per_bar: int
    beat_unit: str
    confidence: float


@dataclass(frozen=True)
class CountIn:
    """A count-in before the music: from its first click to bar 1 (or the pick-up)."""

    start_s: float
    end_s: float
    clicks: int
    bars: float


@dataclass(frozen=True)
class GridFinding:
    """Bar 1 and every beat and downbeat of the file, count-in included."""

    bar_1_s: float
    beats_s: tuple[float, ...]
    downbeats_s: tuple[float, ...]


@dataclass(frozen=True)
class SectionTuning:
    """The pitch of one section, which may stray from that of the whole song: an edit, another day, a tape."""

    start_s: float
    end_s: float
    a4_hz: float
    cents: float


@dataclass(frozen=True)
class Tuning:
    """The song's own pitch: its A4 in Hz, and that in cents above 440 Hz.

    Attributes
    ----------
    sections
        The same for each section of the form that has enough sustained sound to tell.
    """

    a4_hz: float
    cents: float
    sections: tuple[SectionTuning, ...] = ()


@dataclass(frozen=True)
class SongMap:
    """Everything known about a song; times in seconds of the client's file."""

    source: SourceFacts
    tempo: Tempo
    meter: MeterFinding
    count_in: CountIn | None
    grid: GridFinding
    tuning: Tuning
    keys: tuple[KeySpan, ...]
    chords: tuple[ChordSpan, ...]
    sections: tuple[SectionSpan, ...]
    voice: tuple[Span, ...]
    openings: tuple[Opening, ...]
    format_version: int = FORMAT_VERSION

    def to_grid(self) -> Grid:
        """The grid that the map's beats make: two anchors for a steady song without steps, else one per beat."""
        meter = Meter.from_unit_name(self.meter.beats_per_bar, self.meter.beat_unit)
        if (self.tempo.steady and not self.tempo.steps) or len(self.grid.beats_s) < 2:
            return Grid.steady(self.tempo.bpm, self.grid.bar_1_s, meter)
        grid = Grid.from_beats(self.grid.beats_s, 0, meter)
        return grid.moved(round(float(grid.sec_to_beat(self.grid.bar_1_s))))
