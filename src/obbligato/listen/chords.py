"""Chords by beat: the best path through chord templates, weighed against how often songs have what it says.

Each beat's pitch classes (`chroma`) are compared with the pitch classes of each chord by cosine, and so is the bass,
where the root counts most; a Viterbi search (Sheh and Ellis 2003 were the first to use one for chords) then weighs
likeness against how common that kind of chord is, and how common a change at that place in the bar. A third or fifth
that holds the bass throughout is written as an inversion.

One beat is too little to go by: chords are struck off the beat or broken into single notes, and a bass that goes from
root to fifth plays one harmony. So each beat is heard together with the others of its bar: the upper voices fading
quickly with distance, the bass over the whole bar with its first beat foremost, where the root is played. The bass
counts by the square of its strength, since low semitones lie so near to each other that one leaks into the next.
Beats without pitch are filled from their neighbours, and no chord is written only where a stretch sounds of noise.

What songs have was counted in the McGill Billboard transcriptions (Burgoyne and others 2011; 890 songs, 360 thousand
beats): the share of beats that each kind of chord takes (sixths counted with their triads, ninths to thirteenths with
their sevenths) and the share of places in a bar where the chord changes.

References
----------
J. A. Burgoyne, J. Wild, I. Fujinaga: An expert ground truth set for audio chord recognition and music analysis.
Proc. ISMIR, 2011, pages 633-638.
A. Sheh, D. P. W. Ellis: Chord segmentation and recognition using EM-trained hidden Markov models. Proc. ISMIR, 2003.
T. Fujishima: Realtime chord recognition of musical sound. Proc. ICMC, 1999, pages 464-467 (templates).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BASS_ON_FIRST_BEAT, BeatChroma
from obbligato.listen.paths import best_path
from obbligato.music.grid import Grid
from obbligato.music.harmony import NO_CHORD, note_name, parse_chord, pitch_class
from obbligato.music.spans import ChordSpan, KeySpan

Array = NDArray[np.float64]

_SHARES = {
    "maj": 0.339, "min": 0.339, "7": 0.100, "min7": 0.100,
    "maj7": 0.032, "sus4": 0.026, "dim": 0.0021, "hdim7": 0.0016,
}  # fmt: skip
"""Chord types told apart, each with the share of beats it takes. Major and minor share evenly, as do `7` and `min7`
(counted were 0.542, 0.136, 0.112 and 0.087): which third it is is heard, and the key speaks of it besides."""

_NO_CHORD_SHARE = 0.016

_CHANGES = {"first": 0.69, "middle": 0.21, "other": 0.035}
"""Share of first beats of a bar, of middles of bars of an even number of beats, and of other beats that bring another
chord; in three-four time it was 0.63 of first beats."""

_NATS = 18.0
"""What a unit of likeness is worth against the logarithm of a share: so much that pure notes of any of the types are
heard as that type. With 16 to 23 rendered songs come out within 0.02 of each other."""

_BASS_WEIGHT = 0.6
_OTHER_IN_BASS = 0.5
"""What another chord tone in the bass speaks for a chord, against its root there: the lead of the root, half of the
weight, stays under the third that one note of a triad is worth, so that pure inversions are heard as such."""

_FIFTH_HARMONIC = 0.2
"""How much of a bass note's strength is taken off its major third above, where its fifth harmonic lies."""

_NEXT_BEAT = 0.25
"""How much the upper voices of the next beat in the bar count, the one after that by its square, and so on."""

_FOREIGN_COST = 1.0
"""Cost, in nats, of each pitch class of a chord that the key in force has not. Counted against the tonics given with
the transcriptions it is 2.1 for the first and 1.1 for each further one, but a key that was heard may be wrong."""

_SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10, 11)}
"""Steps above the tonic; in minor both sevenths."""

_NO_CHORD_LIKENESS = 0.9
_NOISY_FLATNESS = 0.8
_NOISE_SLOPE = 4.0
"""Likeness of no chord, and what it gains with spectral flatness beyond that of almost all beats with pitch."""

_INVERSION_LEAD = 1.5
"""How many times as strong as the root another chord tone must be in the bass."""


def find_chords(
    chroma: BeatChroma, grid: Grid, *, prefer_flats: bool, keys: Sequence[KeySpan] = ()
) -> tuple[ChordSpan, ...]:
    """Chords from the first beat to the last, `N` where there is no harmony; neighbours always differ.

    Parameters
    ----------
    prefer_flats
        How to spell roots on black keys.
    keys
        Keys in force; chords at home in them are preferred a little.
    """
    if chroma.beats.size == 0:
        return ()
    per_bar = grid.meter.beats_per_bar
    scores = _NATS * _likeness(chroma, per_bar) + _log_shares() - _foreign_costs(chroma, grid, keys)
    path = best_path(scores, _change_costs(chroma.beats, per_bar))
    edges = np.flatnonzero(np.diff(path)) + 1
    bounds = [0, *edges.tolist(), path.size]
    times = grid.beat_to_sec(np.append(chroma.beats, chroma.beats[-1] + 1.0))
    spans: list[ChordSpan] = []
    for first, after in pairwise(bounds):
        label = _label(int(path[first]), chroma.bass[first:after], prefer_flats=prefer_flats)
        spans.append(ChordSpan(float(times[first]), float(times[after]), label))
    return tuple(spans)


def _likeness(chroma: BeatChroma, per_bar: int) -> Array:
    """How well each state fits each beat, shape (n_beats, n_states); the last state is no chord."""
    templates, in_bass = _templates()
    upper = np.maximum(chroma.upper - _FIFTH_HARMONIC * np.roll(chroma.bass, 4, axis=1), 0.0)
    near, in_bar = _hearings(chroma.beats, per_bar)
    upper, bass = near @ upper, in_bar @ chroma.bass**2
    norm = np.linalg.norm(upper, axis=1, keepdims=True)
    upper = upper / np.where(norm > 0.0, norm, 1.0)
    bass = bass / np.maximum(bass.sum(axis=1, keepdims=True), 1e-12)
    fit = upper @ templates.T + _BASS_WEIGHT * bass @ in_bass.T
    noise = np.zeros(norm.shape) if chroma.flatness is None else chroma.flatness[:, None] - _NOISY_FLATNESS
    no_chord = _NO_CHORD_LIKENESS + _NOISE_SLOPE * np.maximum(noise, 0.0)
    return np.hstack([fit, np.where(norm > 0.0, no_chord, 10.0)])


def _hearings(beats: Array, per_bar: int) -> tuple[Array, Array]:
    """How much each beat counts when another is heard, upper voices and bass; both of shape (n_beats, n_beats)."""
    number = np.round(beats).astype(np.intp)
    same_bar = number[:, None] // per_bar == number // per_bar
    near = same_bar * _NEXT_BEAT ** np.abs(number[:, None] - number)
    return near, same_bar * np.where(number % per_bar == 0, BASS_ON_FIRST_BEAT, 1.0)


def _foreign_costs(chroma: BeatChroma, grid: Grid, keys: Sequence[KeySpan]) -> Array:
    """What each state pays on each beat for pitch classes foreign to the key, shape (n_beats, n_states)."""
    templates, _ = _templates()
    costs = np.zeros((chroma.beats.size, len(templates) + 1))
    times_s = grid.beat_to_sec(chroma.beats + 0.5)
    for key in keys:
        foreign = np.ones(12)
        foreign[[(pitch_class(key.tonic) + step) % 12 for step in _SCALES[key.mode]]] = 0.0
        in_force = (times_s >= key.start_s) & (times_s < key.end_s)
        costs[in_force, :-1] = _FOREIGN_COST * (templates > 0.0) @ foreign
    return costs


@cache
def _templates() -> tuple[Array, Array]:
    """Per chord: its pitch classes with unit norm, and what each pitch class in the bass speaks for it."""
    templates = np.zeros((12 * len(_SHARES), 12))
    in_bass = np.zeros_like(templates)
    for i, label in enumerate(_labels(prefer_flats=True)):
        chord = parse_chord(label)
        if chord is not None:
            templates[i, list(chord.pitch_classes)] = 1.0 / np.sqrt(len(chord.pitch_classes))
            in_bass[i, list(chord.pitch_classes)] = _OTHER_IN_BASS
            in_bass[i, chord.root] = 1.0
    return templates, in_bass


def _log_shares() -> Array:
    """Logarithm of the share of beats that each state's kind of chord takes, shape (n_states,)."""
    shares = np.append(np.repeat(list(_SHARES.values()), 12), _NO_CHORD_SHARE)
    return np.asarray(np.log(shares), dtype=np.float64)


def _labels(*, prefer_flats: bool) -> list[str]:
    return [f"{note_name(root, prefer_flats=prefer_flats)}:{quality}" for quality in _SHARES for root in range(12)]


def _change_costs(beats: Array, per_bar: int) -> Array:
    """Cost in nats of another chord at each beat: the odds against a change there, and against one root of twelve."""
    place = np.round(beats).astype(int) % per_bar
    middle = (per_bar % 2 == 0) & (place == per_bar // 2)
    share = np.where(place == 0, _CHANGES["first"], np.where(middle, _CHANGES["middle"], _CHANGES["other"]))
    return np.asarray(np.log(1.0 - share) - np.log(share) + np.log(12.0))


def _label(state: int, bass: Array, *, prefer_flats: bool) -> str:
    labels = _labels(prefer_flats=prefer_flats)
    if state == len(labels):
        return NO_CHORD
    label = labels[state]
    root, quality = label.split(":")
    if quality not in ("maj", "min", "7"):
        return label
    strength = bass.mean(axis=0)
    chord = parse_chord(label)
    if chord is None:
        return label
    degrees = {"b3" if quality == "min" else "3": 3 if quality == "min" else 4, "5": 7}
    best = max(degrees, key=lambda d: strength[(chord.root + degrees[d]) % 12])
    in_bass = strength[(chord.root + degrees[best]) % 12]
    if in_bass == strength.max() and in_bass > _INVERSION_LEAD * strength[chord.root]:
        return f"{root}:{quality}/{best}"
    return label
