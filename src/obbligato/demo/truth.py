"""What is true of an invented song, as one JSON document: laid out like the findings it is compared with."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from obbligato.demo.song import Song
from obbligato.music.spans import Opening, OpeningKind, Span

FORMAT_VERSION = 1
SHORTEST_OPENING_BEATS = 2.0
FEATURE_BEATS = 8.0

OPENING_RULE = (
    "An opening is a stretch of at least 2 beats without voice between bar 1 and the end of the last bar. "
    "A breath is not voice; the voice ends with the last sound of a line's last word. "
    "It is a break where the band stops for at least half of it, a feature from 8 beats on, otherwise a fill."
)


def song_truth(song: Song, voice: tuple[Span, ...]) -> dict[str, Any]:
    """Everything true of the song and its guide.

    Parameters
    ----------
    voice
        The spans sung, as `guide.render_guide` reports them.

    Returns
    -------
    A document of plain JSON values. Seconds are those of the guide's WAV; beats are dotted quarters from 0 at
    bar 1; `bar_1_s`, `tempo` and `beats_s` follow from each other by arithmetic alone.
    """
    grid = song.grid
    n_count_in = song.count_in_bars * song.meter.beats_per_bar
    beats = np.arange(-n_count_in, round(song.end_beat) + 1)
    beats_s = grid.beat_to_sec(beats)
    return {
        "format_version": FORMAT_VERSION,
        "title": song.title,
        "singer": song.singer,
        "client": song.client,
        "duration_s": song.duration_s,
        "lead_silence_s": song.head_s,
        "tempo": {"bpm": song.bpm, "steady": True},
        "meter": {
            "beats_per_bar": song.meter.beats_per_bar,
            "beat_unit": song.meter.beat_unit,
            "signature": str(song.meter),
        },
        "count_in": {
            "start_s": float(beats_s[0]),
            "end_s": grid.bar_1_s,
            "clicks": n_count_in,
            "bars": float(song.count_in_bars),
        },
        "pick_up": {"start_s": float(grid.beat_to_sec(-2 / 3)), "end_s": grid.bar_1_s, "eighths": 2},
        "grid": {
            "bar_1_s": grid.bar_1_s,
            "bars": song.bars,
            "beats_s": _rounded(beats_s),
            "downbeats_s": _rounded(beats_s[:: song.meter.beats_per_bar]),
        },
        "tuning": {"a4_hz": song.a4_hz, "cents": song.tuning_cents},
        "keys": _keys(song),
        "chords": [_between(song, c.onset_beat, c.onset_beat + c.duration_beats, label=c.label) for c in song.chords],
        "sections": [
            _between(
                song,
                (s.first_bar - 1.0) * song.meter.beats_per_bar,
                (s.first_bar - 1.0 + s.bars) * song.meter.beats_per_bar,
                label=s.label,
                name=s.name,
                first_bar=s.first_bar,
                last_bar=s.first_bar + s.bars - 1,
            )
            for s in song.sections
        ],
        "voice": [{"start_s": v.start_s, "end_s": v.end_s} for v in voice],
        "words": [" ".join(n.syllable.text for n in line if n.syllable.text) for line in song.lines],
        "openings_rule": OPENING_RULE,
        "openings": [
            {
                "start_s": o.start_s,
                "end_s": o.end_s,
                "first_bar": o.first_bar,
                "last_bar": o.last_bar,
                "beats": o.beats,
                "kind": o.kind,
            }
            for o in openings(song, voice)
        ],
    }


def openings(song: Song, voice: tuple[Span, ...]) -> tuple[Opening, ...]:
    """The room the singer leaves, by `OPENING_RULE`."""
    grid = song.grid
    ends = [grid.bar_1_s, *(v.end_s for v in voice)]
    starts = [*(v.start_s for v in voice), float(grid.beat_to_sec(song.end_beat))]
    found: list[Opening] = []
    for start_s, end_s in zip(ends, starts, strict=True):
        first_beat, last_beat = (float(b) for b in grid.sec_to_beat([start_s, end_s]))
        if last_beat - first_beat >= SHORTEST_OPENING_BEATS:
            found.append(
                Opening(
                    start_s,
                    end_s,
                    first_bar=grid.beat_to_position(first_beat).bar,
                    last_bar=grid.beat_to_position(last_beat - 0.01).bar,
                    beats=last_beat - first_beat,
                    kind=_kind(song, first_beat, last_beat),
                )
            )
    return tuple(found)


def _kind(song: Song, first_beat: float, last_beat: float) -> OpeningKind:
    per_bar = song.meter.beats_per_bar
    stopped = 0.0
    for s in song.sections:
        if s.groove == "stop":
            start = (s.first_bar - 1) * per_bar
            stopped += max(0.0, min(last_beat, start + s.bars * per_bar) - max(first_beat, start))
    if stopped >= 0.5 * (last_beat - first_beat):
        return "break"
    return "feature" if last_beat - first_beat >= FEATURE_BEATS else "fill"


def _keys(song: Song) -> list[dict[str, Any]]:
    bars = [*(k.first_bar for k in song.keys), song.bars + 1]
    return [
        _between(
            song,
            (first - 1.0) * song.meter.beats_per_bar,
            (after - 1.0) * song.meter.beats_per_bar,
            tonic=key.tonic,
            mode=key.mode,
            first_bar=first,
        )
        for key, (first, after) in zip(song.keys, pairwise(bars), strict=True)
    ]


def _between(song: Song, first_beat: float, last_beat: float, **facts: Any) -> dict[str, Any]:
    start_s, end_s = song.grid.beat_to_sec([first_beat, last_beat])
    return {"start_s": float(start_s), "end_s": float(end_s), **facts}


def _rounded(seconds: Any) -> list[float]:
    return [round(float(s), 9) for s in seconds]
