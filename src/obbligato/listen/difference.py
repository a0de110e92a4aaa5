"""What a new guide has done to the old one, bar by bar: the same, moved, another tempo or key, put in, taken out.

Each bar of the old guide is looked for in the new one (`placing`). What no bar leads to was put in; bars that lead
nowhere were taken out, or changed where just as much room is left for them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from obbligato.errors import InputError
from obbligato.listen.placing import Bar, Guides, Kind, place_bars
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid
from obbligato.music.spans import Span
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.sound.rate import resample

_LEAST_GAP_BEATS = 0.5
_SAME_LENGTH_BEATS = 0.5
_SAME_GAIN_DB = 0.2
_AUDIBLE = 1e-3
_SILENT_PEAK = 1e-4


@dataclass(frozen=True)
class Stretch:
    """A stretch of bars to which the same has happened.

    Attributes
    ----------
    section
        Label of the old section it lies in; empty before the first.
    old_bars, new_bars
        First and last bar in the counting of the old guide and of the new; None where the other has none.
        The new guide's bars are counted on from the old ones.
    old, new
        The same in seconds of each file.
    moved_samples
        How much later the sound lies, in samples of the old guide's rate; None where it is no copy.
    gain_db, residual_db
        Level of the copy against the old sound, and what is left after that, against the copy; None as above.
    tempo_ratio, pitch_cents
        New tempo over old, and how much higher the pitch is.
    beats
        Length in beats, of the old where there is one.
    """

    kind: Kind
    section: str
    old_bars: tuple[int, int] | None
    new_bars: tuple[int, int] | None
    old: Span | None
    new: Span | None
    beats: float
    moved_samples: float | None = None
    gain_db: float | None = None
    residual_db: float | None = None
    inverted: bool = False
    tempo_ratio: float = 1.0
    pitch_cents: float = 0.0


@dataclass(frozen=True)
class Difference:
    """All stretches in order, and the facts of both files."""

    stretches: tuple[Stretch, ...]
    old_rate: int
    new_rate: int
    old_duration_s: float
    new_duration_s: float
    tempo_ratio: float
    pitch_cents: float

    @property
    def identical(self) -> bool:
        """Whether nothing differs."""
        return all(stretch.kind == "identical" for stretch in self.stretches)


def compare_guides(old: Audio, song: SongMap, new: Audio, *, progress: Progress = silent) -> Difference:
    """Compare a new guide with the one that `song` was heard in.

    Raises
    ------
    InputError
        When the new guide is silent.
    """
    if new.n_samples == 0 or float(np.abs(new.y).max()) < _SILENT_PEAK:
        raise InputError("The new guide is silent; ask the client for the file again.")
    guides = Guides(old, song, resample(new, old.sr))
    placed = place_bars(guides, progress=progress)
    stretches = _stretches(_with_changed(placed.bars, guides.new.duration_s), guides)
    progress(1.0, "compared")
    return Difference(
        stretches, old.sr, new.sr, old.duration_s, new.duration_s, placed.tempo_ratio, placed.pitch_cents
    )


def _with_changed(bars: list[Bar], new_end_s: float) -> list[Bar]:
    """Bars that lead nowhere, but for which the new guide has just as much room, are changed, not taken out."""
    result = list(bars)
    for first, after in _gaps(bars):
        before = bars[first - 1].new if first else Span(0.0, 0.0)
        behind = bars[after].new if after < len(bars) else Span(new_end_s, new_end_s)
        assert before is not None
        assert behind is not None
        start_s, end_s = bars[first].old.start_s, bars[after - 1].old.end_s
        room_s = behind.start_s - before.end_s
        beat_s = _beat_s(bars)
        if abs(room_s - (end_s - start_s)) > _SAME_LENGTH_BEATS * beat_s:
            continue
        for i in range(first, after):
            share_a, share_b = ((s - start_s) / (end_s - start_s) for s in (bars[i].old.start_s, bars[i].old.end_s))
            place = Span(before.end_s + share_a * room_s, before.end_s + share_b * room_s)
            result[i] = replace(bars[i], new=place, kind="changed")
    return result


def _gaps(bars: list[Bar]) -> list[tuple[int, int]]:
    """Runs of bars without a place in the new guide: first index, and the one after the last."""
    runs = []
    position = 0
    for missing, group in groupby(bars, key=lambda bar: bar.new is None):
        length = len(list(group))
        if missing:
            runs.append((position, position + length))
        position += length
    return runs


def _beat_s(bars: list[Bar]) -> float:
    return float(np.median([bar.old.end_s - bar.old.start_s for bar in bars])) / 4.0


def _stretches(bars: list[Bar], guides: Guides) -> tuple[Stretch, ...]:
    """Bars of one fate drawn together, with what was put in between them, and new bar numbers counted on."""
    grid = guides.grid
    result: list[Stretch] = []
    group: list[Bar] = []
    reached_s, shift, begun = 0.0, 0, False

    def close() -> None:
        if group:
            result.append(_drawn_together(group, grid, shift))
            group.clear()

    for bar in bars:
        if group and not _same_fate(group[-1], bar):
            gone = sum(1 for lost in group if lost.new is None and (begun or lost.number >= 1))
            close()
            shift -= gone
        if bar.new is not None:
            beat_s = 60.0 / (grid.bpm_at(bar.old.start_s) * bar.tempo_ratio)
            room = (bar.new.start_s - reached_s) / beat_s
            if begun and room > _LEAST_GAP_BEATS:
                close()
                first, shift = bar.number + shift, shift + round(room / grid.meter.beats_per_bar)
                result.append(_inserted(bar, (first, bar.number + shift - 1), Span(reached_s, bar.new.start_s), room))
            begun, reached_s = True, bar.new.end_s
        group.append(bar)
    close()
    return (*result, *_after_the_end(bars, guides, reached_s, shift))


def _inserted(bar: Bar, numbers: tuple[int, int], place: Span, beats: float) -> Stretch:
    """What was put in before (or after) a bar; less than a bar takes none of the numbers."""
    counted = numbers if numbers[1] >= numbers[0] else None
    return Stretch("inserted", bar.section, None, counted, None, place, beats)


def _after_the_end(bars: list[Bar], guides: Guides, reached_s: float, shift: int) -> tuple[Stretch, ...]:
    """What sounds in the new guide after all that was in the old one."""
    last, per_bar = bars[-1], guides.grid.meter.beats_per_bar
    beat_s = 60.0 / (guides.grid.bpm_at(last.old.end_s) * last.tempo_ratio)
    rest = guides.new.y[:, round(max(0.0, reached_s) * guides.new.sr) :]
    beats = rest.shape[1] / guides.new.sr / beat_s
    if last.new is None or beats < per_bar / 2 or float(np.abs(rest).max()) < _AUDIBLE:
        return ()
    first = last.number + shift + 1
    numbers = first, first + max(1, round(beats / per_bar)) - 1
    return (_inserted(last, numbers, Span(reached_s, guides.new.duration_s), beats),)


def _same_fate(a: Bar, b: Bar) -> bool:
    if a.section != b.section or a.kind != b.kind or a.inverted != b.inverted:
        return False
    if (a.moved_samples is None) != (b.moved_samples is None) or a.pitch_cents != b.pitch_cents:
        return False
    if a.moved_samples is not None and b.moved_samples is not None and a.tempo_ratio == 1.0:
        return abs(a.moved_samples - b.moved_samples) < 0.5 and _alike(a.gain_db, b.gain_db)
    return True


def _alike(a: float | None, b: float | None) -> bool:
    return a is None or b is None or abs(a - b) < _SAME_GAIN_DB


def _drawn_together(group: list[Bar], grid: Grid, shift: int) -> Stretch:
    first, last = group[0], group[-1]
    gains = [bar.gain_db for bar in group if bar.gain_db is not None]
    residuals = [bar.residual_db for bar in group if bar.residual_db is not None]
    old = Span(first.old.start_s, last.old.end_s)
    a, b = grid.sec_to_beat([old.start_s, old.end_s])
    new = None
    if first.new is not None and last.new is not None:
        new = Span(first.new.start_s, last.new.end_s)
    return Stretch(
        kind=first.kind,
        section=first.section,
        old_bars=(first.number, last.number),
        new_bars=(first.number + shift, last.number + shift) if new else None,
        old=old,
        new=new,
        beats=float(b - a),
        moved_samples=first.moved_samples,
        gain_db=float(np.median(gains)) if gains else None,
        residual_db=float(max(residuals)) if residuals else None,
        inverted=first.inverted,
        tempo_ratio=first.tempo_ratio,
        pitch_cents=first.pitch_cents,
    )
