"""Takes played on top of one another, in unison or in harmony: do they start, end, breathe and sit in tune together?

Every note of the first layer is compared with what the others play at that moment; a layer is measured against the
middle of all of them, so that no one of them is right beforehand. The tolerances are rules of thumb of the trade
without a source: starts within 15 ms for short notes, releases within 30 ms, unisons within 8 cents, and 10 to 20 ms
of life between layers, for copies that lie closer sound like one sampled player.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.takes.partials import Floats
from obbligato.takes.readings import TakeReading, TimedLine
from obbligato.units import db_to_power, power_to_db

STARTS_MS, RELEASES_MS, PITCH_CENTS = 15.0, 30.0, 8.0
TOO_TIGHT_MS = 5.0
_SAME_MOMENT_S = 0.05
_BREATH_S = 0.08
_LEAST_NOTES = 6
_MOST_PLACES = 3


@dataclass(frozen=True)
class _Measure:
    """What is compared: the tolerance with its unit, and how to say that a layer lies outside it."""

    limit: float
    unit: str
    verb: str
    below: str
    above: str


_STARTS = _Measure(STARTS_MS, "ms", "starts", "early", "late")
_RELEASES = _Measure(RELEASES_MS, "ms", "lets go", "too early", "too late")
_PITCH = _Measure(PITCH_CENTS, "cents", "is", "flat", "sharp")


@dataclass(frozen=True, eq=False)
class Layer:
    """One take with the line it plays, its own name in sentences, and the level of click in it (None: not heard)."""

    name: str
    line: TimedLine
    reading: TakeReading
    click_dbfs: float | None = None


@dataclass(frozen=True)
class LayerNote:
    """How far apart the layers are in one note of the first layer's line.

    Attributes
    ----------
    start_ms, release_ms, cents
        Of each layer against the middle of them, in the order of the layers; None where it does not play there.
    """

    index: int
    start_s: float
    start_ms: tuple[float | None, ...]
    release_ms: tuple[float | None, ...]
    cents: tuple[float | None, ...]


@dataclass(frozen=True)
class Layers:
    """Layers beside one another.

    Attributes
    ----------
    sentences
        What to do something about, or that there is nothing.
    apart_ms
        Median distance of two layers' starts.
    start_spread_ms, release_spread_ms, pitch_spread_cents
        Medians, over the notes, of the distance between the outermost layers.
    click_dbfs, click_under_db
        Level of the click in all layers together, and how far it lies under them; None where it is in none.
    """

    names: tuple[str, ...]
    sentences: tuple[str, ...]
    apart_ms: float | None
    start_spread_ms: float | None
    release_spread_ms: float | None
    pitch_spread_cents: float | None
    click_dbfs: float | None
    click_under_db: float | None
    notes: tuple[LayerNote, ...]


def compare_layers(layers: Sequence[Layer], *, grid: Grid | None = None) -> Layers:
    """Compare layers with one another.

    Parameters
    ----------
    layers
        Two or more, read each against its own line.
    grid
        For bar numbers.

    Raises
    ------
    InputError
        With fewer than two layers, or where they have no note in common.
    """
    if len(layers) < 2:
        raise InputError("Layers are compared with one another; give two takes or more.")
    together = _matched(layers)
    start_s, release_s, cents = (
        np.array([[value[row, i] if i >= 0 else np.nan for row, i in enumerate(note)] for note in together])
        for value in _values(layers)
    )
    if not (np.isfinite(start_s).sum(axis=1) >= 2).any():
        raise InputError("These takes have no note in common, so they are not layers of one part.")
    start_ms, release_ms, pitch = (
        1e3 * _against_middle(start_s),
        1e3 * _against_middle(release_s),
        _against_middle(cents),
    )
    breaths = _common_breaths(start_s, release_s, layers[0].line)
    apart_ms = _apart_ms(start_ms)
    click_dbfs, under_db = _stacked_click(layers)
    names = tuple(layer.name for layer in layers)
    places = _Places(layers[0].line, grid)
    sentences = (
        *_outliers(start_ms, _STARTS, names, places),
        *_outliers(release_ms, _RELEASES, names, places),
        *_outliers(pitch, _PITCH, names, places),
        *_breath_words(breaths, places),
        *_tight_words(apart_ms),
        *_click_words(click_dbfs, under_db, len(layers)),
    )
    return Layers(
        names,
        sentences or ("The layers start, end and sit in tune together, and no two are too alike.",),
        apart_ms,
        _median_spread(start_ms),
        _median_spread(release_ms),
        _median_spread(pitch),
        click_dbfs,
        under_db,
        tuple(
            LayerNote(
                note.index, note.start_s, *(_told(values[note.index]) for values in (start_ms, release_ms, pitch))
            )
            for note in layers[0].line.notes
        ),
    )


def _matched(layers: Sequence[Layer]) -> list[list[int]]:
    """For each note of the first layer's line, the note of every layer that begins with it; -1 where none does."""
    starts_s = [np.array([note.start_s for note in layer.line.notes]) for layer in layers]
    rows = []
    for at_s in starts_s[0]:
        nearest = [int(np.argmin(np.abs(other - at_s))) for other in starts_s]
        rows.append(
            [i if abs(other[i] - at_s) <= _SAME_MOMENT_S else -1 for i, other in zip(nearest, starts_s, strict=True)]
        )
    return rows


def _values(layers: Sequence[Layer]) -> tuple[Floats, Floats, Floats]:
    """Starts and ends on the guide's time and cents, each of shape (n_layers, most notes); NaN where not known."""
    most = max(len(layer.line.notes) for layer in layers)
    start_s, release_s, cents = (np.full((len(layers), most), np.nan) for _ in range(3))
    for row, layer in enumerate(layers):
        for note in (note for phrase in layer.reading.phrases for note in phrase.notes):
            written = layer.line.notes[note.index]
            if not note.played:
                continue
            if note.onset_ms is not None:
                start_s[row, note.index] = written.start_s + note.onset_ms / 1e3
            if note.release_ms is not None:
                release_s[row, note.index] = written.end_s + note.release_ms / 1e3
            if note.cents is not None:
                cents[row, note.index] = note.cents
    return start_s, release_s, cents


def _against_middle(values: Floats) -> Floats:
    """Values less their median over the layers, note by note; NaN where fewer than two layers are known."""
    known = np.isfinite(values).sum(axis=1) >= 2
    out = np.full(values.shape, np.nan)
    out[known] = values[known] - np.nanmedian(values[known], axis=1, keepdims=True)
    return out


def _median_spread(values: Floats) -> float | None:
    known = values[np.isfinite(values).sum(axis=1) >= 2]
    return float(np.median(np.nanmax(known, axis=1) - np.nanmin(known, axis=1))) if len(known) else None


def _apart_ms(start_ms: Floats) -> float | None:
    """Median distance of the two layers that lie closest on the whole; None with too few notes to tell."""
    pairs = []
    for a, b in combinations(range(start_ms.shape[1]), 2):
        apart = np.abs(start_ms[:, a] - start_ms[:, b])
        apart = apart[np.isfinite(apart)]
        if len(apart) >= _LEAST_NOTES:
            pairs.append(float(np.median(apart)))
    return min(pairs) if pairs else None


def _common_breaths(start_s: Floats, release_s: Floats, line: TimedLine) -> list[int]:
    """Notes before which every layer breaks off longer than is written, so that the part falls silent."""
    found = []
    for i in range(len(line.notes) - 1):
        written_s = line.notes[i + 1].start_s - line.notes[i].end_s
        gaps_s = start_s[i + 1] - release_s[i]
        if np.isfinite(gaps_s).all() and (gaps_s > max(written_s, 0.0) + _BREATH_S).all():
            found.append(i + 1)
    return found


def _stacked_click(layers: Sequence[Layer]) -> tuple[float | None, float | None]:
    """Level of the click in the stack, its amplitudes added up, and how far it lies under the playing, whose powers
    add."""
    amplitudes = [10.0 ** (layer.click_dbfs / 20.0) for layer in layers if layer.click_dbfs is not None]
    levels_db = [
        [n.level_db for phrase in layer.reading.phrases for n in phrase.notes if n.level_db is not None]
        for layer in layers
    ]
    if not amplitudes or not all(levels_db):
        return None, None
    click_dbfs = 20.0 * float(np.log10(sum(amplitudes)))
    playing = sum(float(db_to_power(np.median(levels))) for levels in levels_db)
    return click_dbfs, float(power_to_db(playing)) - click_dbfs


class _Places:
    """Where notes are, in words."""

    def __init__(self, line: TimedLine, grid: Grid | None) -> None:
        self._line, self._grid = line, grid

    def __call__(self, index: int) -> str:
        if self._grid is None:
            return f"note {index + 1}"
        place = self._grid.position_at(self._line.notes[index].start_s)
        return f"bar {place.bar} beat {place.beat:.3g}"


def _outliers(values: Floats, what: _Measure, names: Sequence[str], places: _Places) -> list[str]:
    """A sentence for each layer that lies outside the limit anywhere, its worst places named."""
    sentences = []
    for name, column in zip(names, values.T, strict=True):
        size = np.nan_to_num(np.abs(column))
        worst = [int(i) for i in np.argsort(-size, kind="stable") if size[i] > what.limit]
        if worst:
            named = ", ".join(
                f"{size[i]:.0f} {what.unit} {what.above if column[i] > 0 else what.below} in {places(i)}"
                for i in worst[:_MOST_PLACES]
            )
            sentences.append(
                f"{name[:1].upper()}{name[1:]} {what.verb} {named}{_and_more(worst)}, against the other layers."
            )
    return sentences


def _and_more(places: Sequence[int]) -> str:
    """What is left when `_MOST_PLACES` of some places were named."""
    more = len(places) - _MOST_PLACES
    return f", and in {more} more place{'s' * (more > 1)}" if more > 0 else ""


def _breath_words(breaths: Sequence[int], places: _Places) -> list[str]:
    if not breaths:
        return []
    where = ", ".join(places(i) for i in breaths[:_MOST_PLACES])
    return [
        f"All layers break off before {where}{_and_more(breaths)}, where the line goes on; "
        "let one of them breathe elsewhere."
    ]


def _tight_words(apart_ms: float | None) -> list[str]:
    if apart_ms is None or apart_ms >= TOO_TIGHT_MS:
        return []
    return [
        f"Two layers lie within {apart_ms:.1f} ms of each other on the whole: they will phase and sound like one "
        "sampled player. Leave 10 to 20 ms of life, or play one of them again."
    ]


def _click_words(click_dbfs: float | None, under_db: float | None, n_layers: int) -> list[str]:
    if click_dbfs is None or under_db is None:
        return []
    return [
        f"The click adds up over the {n_layers} layers to {click_dbfs:.0f} dBFS, {under_db:.0f} dB under them all; "
        "mend it in each (obbligato mend JOB TAKE bleed), or turn the headphones down and play again."
    ]


def _told(values: Floats) -> tuple[float | None, ...]:
    return tuple(float(v) if np.isfinite(v) else None for v in values)
