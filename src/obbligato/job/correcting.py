"""What was heard, with what the player put right applied to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import count, pairwise
from math import isclose

from obbligato.job.model import (
    ChordCorrection,
    Corrections,
    KeyCorrection,
    SectionCorrection,
    SingerCorrection,
)
from obbligato.job.tapping import grid_from_taps, tapped_beat
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import NO_CHORD
from obbligato.music.spans import ChordSpan, KeySpan, SectionSpan, Span


def corrected_grid(song: SongMap, fixes: Corrections) -> Grid:
    """The grid of what was heard, counted and placed as the player says."""
    grid = song.to_grid()
    if fixes.tapped_s:
        grid = grid_from_taps(grid, fixes.tapped_s)
    if fixes.counted_times:
        grid = grid.counted_times(Fraction(fixes.counted_times))
    if fixes.bpm is not None:
        grid = Grid.steady(fixes.bpm, grid.bar_1_s, grid.meter)
    if fixes.meter:
        grid = grid.with_meter(Meter.from_signature(fixes.meter))
    if fixes.bar_1_s is not None:
        grid = grid.with_bar_1_at(fixes.bar_1_s)
    return grid.moved(fixes.shift_beats)


def tempo_by_hand(song: SongMap, fixes: Corrections) -> bool:
    """Whether the tempo of a corrected map is the player's own, and not a way of counting what was heard."""
    if fixes.bpm is not None or not fixes.tapped_s:
        return fixes.bpm is not None
    tapped_bpm = tapped_beat(fixes.tapped_s).bpm * Fraction(fixes.counted_times or 1)
    return song.tempo.steady and isclose(song.tempo.bpm, tapped_bpm, rel_tol=1e-9)


def with_corrected_form(song: SongMap, fixes: Corrections) -> SongMap:
    """Keys, chords, sections and the singer as the player says, and what they settled without a doubt left.

    Openings are left as they were.
    """
    grid, end_s = song.to_grid(), song.source.duration_s
    settled = set(fixes.confirmed)
    if fixes.meter:
        settled.add("meter")
    if fixes.tapped_s or fixes.counted_times or fixes.bpm is not None:
        settled.add("tempo")
    if "keys" in settled:
        song = replace(song, keys=tuple(replace(key, confidence=1.0) for key in song.keys))
    return replace(
        song,
        tempo=replace(song.tempo, confidence=1.0) if "tempo" in settled else song.tempo,
        meter=replace(song.meter, confidence=1.0) if "meter" in settled else song.meter,
        keys=_corrected_keys(song, grid, fixes.keys) if fixes.keys else song.keys,
        chords=_corrected_chords(song.chords, fixes.chords, grid, end_s),
        sections=_corrected_sections(song.sections, fixes.sections, grid, end_s),
        voice=corrected_voice(song.voice, fixes.singer),
    )


def corrected_voice(voice: Sequence[Span], fixes: Sequence[SingerCorrection]) -> tuple[Span, ...]:
    """The stretches that are sung: each statement fills or clears its stretch, the later over the earlier."""
    spans = list(voice)
    for fix in fixes:
        outside = [
            piece
            for span in spans
            for piece in (
                Span(span.start_s, min(span.end_s, fix.start_s)),
                Span(max(span.start_s, fix.end_s), span.end_s),
            )
            if piece.end_s > piece.start_s
        ]
        spans = _joined([*outside, Span(fix.start_s, fix.end_s)]) if fix.sings else outside
    return tuple(sorted(spans, key=lambda span: span.start_s))


def _joined(spans: Sequence[Span]) -> list[Span]:
    """Spans that touch drawn together."""
    result: list[Span] = []
    for span in sorted(spans, key=lambda s: s.start_s):
        if result and span.start_s <= result[-1].end_s:
            result[-1] = Span(result[-1].start_s, max(result[-1].end_s, span.end_s))
        else:
            result.append(span)
    return result


def _corrected_keys(song: SongMap, grid: Grid, fixes: tuple[KeyCorrection, ...]) -> tuple[KeySpan, ...]:
    """The stated keys from their bars on; before the first of them, what was heard."""
    end_s = song.source.duration_s
    ordered = sorted(fixes, key=lambda fix: fix.from_bar)
    starts = [max(0.0, grid.bar_to_sec(fix.from_bar)) if fix.from_bar > 1 else 0.0 for fix in ordered]
    kept = [
        KeySpan(key.start_s, min(key.end_s, starts[0]), key.tonic, key.mode, key.confidence)
        for key in song.keys
        if key.start_s < starts[0]
    ]
    stated = [
        KeySpan(start, end, fix.tonic, fix.mode, 1.0)
        for fix, start, end in zip(ordered, starts, [*starts[1:], end_s], strict=True)
        if end > start
    ]
    return (*kept, *stated)


def _corrected_chords(
    chords: tuple[ChordSpan, ...], fixes: Sequence[ChordCorrection], grid: Grid, end_s: float
) -> tuple[ChordSpan, ...]:
    """Each stated chord from its beat to where the next one was heard or stated."""
    if not fixes:
        return chords
    labels = {round(float(grid.sec_to_beat(span.start_s))): span for span in chords}
    starts_s = {beat: span.start_s for beat, span in labels.items()}
    changes = {beat: span.label for beat, span in labels.items()}
    for before, after in pairwise(sorted(chords, key=lambda span: span.start_s)):
        if after.start_s > before.end_s:
            changes.setdefault(round(float(grid.sec_to_beat(before.end_s))), NO_CHORD)
    for fix in fixes:
        beat = round(float(grid.sec_to_beat(fix.at_s)))
        changes[beat] = fix.label
    beats = sorted(changes)
    places_s = [starts_s.get(beat, max(0.0, float(grid.beat_to_sec(beat)))) for beat in beats]
    last_s = max([end_s if not chords else chords[-1].end_s, places_s[-1]])
    ends_s = [*places_s[1:], last_s if last_s > places_s[-1] else end_s]
    return tuple(
        ChordSpan(start_s, stop_s, changes[beat])
        for beat, start_s, stop_s in zip(beats, places_s, ends_s, strict=True)
        if stop_s > start_s
    )


def _corrected_sections(
    sections: tuple[SectionSpan, ...], fixes: Sequence[SectionCorrection], grid: Grid, end_s: float
) -> tuple[SectionSpan, ...]:
    """Sections begun, named anew or taken away at bar lines; a letter used before gets a number after it."""
    if not fixes:
        return sections
    heads = {_nearest_bar(grid, span.start_s): (span.start_s, span.label) for span in sections}
    for fix in fixes:
        bar = _nearest_bar(grid, fix.at_s)
        if fix.label:
            heads[bar] = (heads[bar][0] if bar in heads else grid.bar_to_sec(bar), fix.label)
        elif bar in heads:
            del heads[bar]
    ordered = [heads[bar] for bar in sorted(heads)]
    last_s = max(sections[-1].end_s, ordered[-1][0]) if sections and ordered else end_s
    starts_s = [max(0.0, start_s) for start_s, _ in ordered]
    ends_s = [*starts_s[1:], last_s if starts_s and last_s > starts_s[-1] else end_s]
    labels = _told_apart([label for _, label in ordered])
    spans = zip(starts_s, ends_s, labels, strict=False)
    return tuple(SectionSpan(start_s, stop_s, label) for start_s, stop_s, label in spans if stop_s > start_s)


def _told_apart(labels: Sequence[str]) -> list[str]:
    """The same letters, each used once.

    >>> _told_apart(["A", "B", "A", "A2"])
    ['A', 'B', 'A2', 'A3']
    """
    used: list[str] = []
    for label in labels:
        letter = label.rstrip("0123456789") or label
        names = (f"{letter}{number}" for number in count(2))
        used.append(label if label not in used else next(name for name in names if name not in used))
    return used


def _nearest_bar(grid: Grid, seconds: float) -> int:
    return round(float(grid.sec_to_beat(seconds)) / grid.meter.beats_per_bar) + 1
