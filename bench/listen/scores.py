"""Invented songs in beats: a form of sections, chords by degree, sung lines with rests between them, a lead."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from obbligato.demo.phones import CONSONANTS, VOWELS_HZ
from obbligato.demo.song import SungNote, Syllable
from obbligato.music.harmony import note_name, parse_chord

from .grooves import GROOVES, Groove

MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
_TRIADS = {
    "I": (0, "maj"), "ii": (2, "min"), "iii": (4, "min"), "IV": (5, "maj"), "V": (7, "maj"), "vi": (9, "min"),
    "bVII": (10, "maj"), "i": (0, "min"), "III": (3, "maj"), "iv": (5, "min"), "v": (7, "min"), "VI": (8, "maj"),
    "VII": (10, "maj"),
}  # fmt: skip
_SEVENTH = {"I": "maj7", "ii": "min7", "iii": "min7", "IV": "maj7", "V": "7", "vi": "min7", "bVII": "7", "i": "min7"}
_SEVENTH |= {"III": "maj7", "iv": "min7", "v": "min7", "VI": "maj7", "VII": "7"}
_TURNS = {
    "major": (
        "I vi IV V", "I V vi IV", "I IV I V", "I iii IV V", "I IV ii V", "I bVII IV I", "vi IV I V", "IV I V I",
        "IV V I vi", "I ii IV I",
    ),
    "minor": ("i VI III VII", "i iv i V", "i VII VI V", "i iv VII III", "i v iv i", "VI VII i i", "iv i V i"),
}  # fmt: skip
_CLOSES = {"major": ("IV V I I", "ii V I I"), "minor": ("iv V i i", "VI V i i")}

INTRO, SONG, REFRAIN, BETWEEN, OUT = "intro", "verse", "chorus", "between", "out"
_FORMS = (
    (24, ((INTRO, 2), (SONG, 8), (BETWEEN, 2), (REFRAIN, 8), (OUT, 4))),
    (32, ((INTRO, 4), (SONG, 8), (REFRAIN, 8), (BETWEEN, 4), (REFRAIN, 8))),
    (44, ((INTRO, 4), (SONG, 8), (REFRAIN, 8), (BETWEEN, 4), (SONG, 8), (REFRAIN, 8), (OUT, 4))),
    (60, ((INTRO, 4), (SONG, 8), (SONG, 8), (REFRAIN, 8), (BETWEEN, 8), (SONG, 8), (REFRAIN, 8), (REFRAIN, 8))),
    (76, ((INTRO, 8), (SONG, 16), (REFRAIN, 8), (BETWEEN, 8), (SONG, 16), (REFRAIN, 8), (REFRAIN, 8), (OUT, 4))),
)


@dataclass
class Score:
    """A song in beats of its metre, 0 at bar 1.

    `chords` are (beat, length, label), `keys` (beat, tonic, mode), `lead` (beat, length, pitch), `heads` the first
    bars (from 0) of sections.
    """

    groove: Groove
    bars: int
    chords: list[tuple[float, float, str]] = field(default_factory=list)
    keys: list[tuple[float, str, str]] = field(default_factory=list)
    lines: list[tuple[SungNote, ...]] = field(default_factory=list)
    lead: list[tuple[float, float, int]] = field(default_factory=list)
    heads: list[int] = field(default_factory=list)

    @property
    def beats(self) -> int:
        """Length in beats."""
        return self.bars * self.groove.per_bar

    def close(self) -> None:
        """Add the bar of the final chord, which is held."""
        self.chords.append((float(self.beats), float(self.groove.per_bar), self.chords[-1][2]))
        self.bars += 1

    def chord_at(self, beat: float) -> str:
        """Label of the chord in force."""
        return next((label for b, _, label in reversed(self.chords) if b <= beat + 1e-6), self.chords[0][2])


def write_form(
    style: str,
    *,
    bpm: float,
    seconds: float,
    mode: str,
    rise: bool,
    sevenths: float,
    lowest: int | None,
    lead: bool,
    pick_up: bool,
    seed: int,
) -> Score:
    """An invented song of about `seconds`; `lowest` is the singer's lowest note, None for nobody singing."""
    rng = np.random.default_rng([seed, 1])
    groove = GROOVES[style]
    wanted = seconds * bpm / 60.0 / groove.per_bar
    form = min(_FORMS, key=lambda f: abs(np.log(f[0] / wanted)))[1]
    tonic = int(rng.integers(12))
    turns = {kind: _harmony(mode, bars, sevenths, rng) for kind, bars in form}
    score = Score(groove, sum(bars for _, bars in form))
    score.keys.append((0.0, note_name(tonic), mode))
    at = 0
    for i, (kind, bars) in enumerate(form):
        score.heads.append(at)
        last_refrain = i == max(k for k, (other, _) in enumerate(form) if other == REFRAIN)
        if rise and last_refrain:
            tonic = (tonic + 2) % 12
            score.keys.append((float(at * groove.per_bar), note_name(tonic), mode))
        degrees = turns[kind][:bars]
        for bar, (step, quality) in enumerate(degrees):
            beat = float((at + bar) * groove.per_bar)
            score.chords.append((beat, float(groove.per_bar), f"{note_name(tonic + step)}:{quality}"))
        scale = [(tonic + s) % 12 for s in (MAJOR if mode == "major" else MINOR)]
        if kind in (SONG, REFRAIN) and lowest is not None:
            score.lines += _sung(score, (at, bars), scale, lowest, rng)
        elif lead and (kind in (SONG, REFRAIN, BETWEEN)) and (lowest is None or kind == BETWEEN):
            played = _sung(score, (at, bars), scale, 62, rng)
            score.lead += [(n.onset_beat, n.duration_beats, n.pitch) for line in played for n in line]
        at += bars
    if pick_up:
        home = 60 + (tonic + 7) % 12
        step = 1.0 / groove.parts
        score.lead += [(-1.0 + k * step, 0.9 * step, home + (0, 2, 4)[k]) for k in range(groove.parts)]
    return score


def _harmony(mode: str, bars: int, sevenths: float, rng: np.random.Generator) -> list[tuple[int, str]]:
    """Semitones above the tonic and quality of the chord of each bar."""
    turn = str(rng.choice(_TURNS[mode])).split()
    names = (turn * (bars // 4 + 1))[:bars]
    if bars >= 8:
        names[-4:] = str(rng.choice(_CLOSES[mode])).split()
    return [(_TRIADS[n][0], _SEVENTH[n] if rng.random() < sevenths else _TRIADS[n][1]) for n in names]


def _sung(
    score: Score, place: tuple[int, int], scale: list[int], lowest: int, rng: np.random.Generator
) -> list[tuple[SungNote, ...]]:
    """Lines of about two bars with rests between them, from a first bar (from 0) for a number of bars."""
    first_bar, bars = place
    per_bar, step = score.groove.per_bar, 1.0 / score.groove.parts
    lines = []
    length = 2 * per_bar if per_bar > 2 else 4 * per_bar
    pitch = lowest + 6
    for start in range(first_bar * per_bar, (first_bar + bars) * per_bar, length):
        beat = start + step * int(rng.integers(0, score.groove.parts + 1))
        stop = start + length - float(rng.choice([0.5, 1.0, 1.5, 2.5, 3.0], p=[0.1, 0.15, 0.2, 0.35, 0.2]))
        notes = []
        while beat < stop - 1e-6:
            span = min(step * int(rng.choice([1, 1, 2, 2, 3, 4])), stop - beat)
            if stop - (beat + span) < step - 1e-6:
                span = stop - beat
            pitch = _next_pitch(pitch, score.chord_at(beat) if beat % 1 < 1e-6 else None, scale, lowest, rng)
            notes.append(SungNote(beat, span, pitch, _syllable(rng)))
            beat += span
        lines.append(tuple(notes))
    return lines


def _next_pitch(pitch: int, chord: str | None, scale: list[int], lowest: int, rng: np.random.Generator) -> int:
    allowed = scale
    if chord is not None:
        parsed = parse_chord(chord)
        allowed = sorted(parsed.pitch_classes) if parsed else scale
    near = [p for p in range(lowest, lowest + 16) if p % 12 in allowed and abs(p - pitch) <= 5]
    weights = np.array([np.exp(-abs(p - pitch) / 2.5) for p in near])
    return int(rng.choice(near, p=weights / weights.sum()))


def _syllable(rng: np.random.Generator) -> Syllable:
    onset = str(rng.choice(list(CONSONANTS))) if rng.random() < 0.85 else ""
    coda = str(rng.choice(["n", "m", "s", "t", "l", "z", "d"])) if rng.random() < 0.35 else ""
    return Syllable("la", onset, str(rng.choice(list(VOWELS_HZ))), coda)


def band_strokes(score: Score, rng: np.random.Generator) -> list[tuple[str, float, float, int, int]]:
    """Drums, bass and chords as (part, beat, length, key, velocity); the last bar is the final chord."""
    groove, out = score.groove, []
    heads = [*score.heads, score.bars - 1]
    fills = {after - 1 for before, after in pairwise(heads) if after - before >= 4}
    for bar in range(score.bars - 1):
        start = bar * groove.per_bar
        out += _drums(groove, start, head=bar in score.heads, fill=bar in fills, rng=rng)
        for beat, length, degree in groove.bass:
            chord = parse_chord(score.chord_at(start + beat))
            tones = chord.pitch_classes
            pc = chord.bass if degree == 0 else (chord.root + (7 if degree == 1 else int(rng.choice([2, 7, 9])))) % 12
            if degree == 2:
                pc = int(rng.choice(sorted(tones)))
            out.append(("bass", start + beat, length, 33 + (pc - 33) % 12, 92))
        for i, (beat, length) in enumerate(groove.comp):
            tones = sorted(52 + (pc - 52) % 12 for pc in parse_chord(score.chord_at(start + beat)).pitch_classes)
            if groove.spread:
                order = (0, 1, 2, 1) if len(tones) == 3 else (0, 1, 2, 3)
                out.append(("comp", start + beat, length + 0.5, tones[order[i % 4]], 84 if beat % 1 < 1e-6 else 66))
            else:
                out += [("comp", start + beat, length, key, 80 if beat % 1 < 1e-6 else 70) for key in tones]
    end = float(score.beats - groove.per_bar)
    tonic = parse_chord(score.chords[-1][2])
    out += [("bass", end, 2.0, 33 + (tonic.root - 33) % 12, 90)]
    out += [("comp", end, 2.0, 52 + (pc - 52) % 12, 78) for pc in tonic.pitch_classes]
    return out


def _drums(groove: Groove, start: float, *, head: bool, fill: bool, rng: np.random.Generator):
    if not groove.drums:
        return []
    half = groove.per_bar - 1.0
    kept = [s for s in groove.drums if not (fill and s[0] >= half - 1e-6)]
    out = [("drums", start + b, 0.1, key, v + int(rng.integers(-5, 6))) for b, key, v in kept]
    if fill:
        step = 1.0 / 3 if groove.parts == 3 else 0.25
        n = round(1.0 / step)
        out += [("drums", start + half + k * step, 0.1, (38, 48, 45, 43)[k], 86 + 4 * k) for k in range(n)]
    if head:
        out.append(("drums", start, 0.2, 49, 84))
    return out
