"""What is played: sets of four takes of one line by one player, differing in source, room, bleed and faults.

In a set every phrase is free of planted faults in at least one take, unless the whole set is spoilt by design.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .melodies import TUNES, Written, write_line
from .performing import NOTE_FAULTS, PHRASE_FAULTS, SOUND_FAULTS, Player, Take
from .sources import SOURCES, SR, Floats, Source

TAKES = 4
SETS = 32
LENGTH_S = 44.0
_RATES = (44100, 48000, 96000)
_BLEEDS = ("none", "click", "guide", "faint click", "none", "click")
_WHOLE = ("", "hum", "", "suppressed", "", "narrow", "", "wrong rate")


@dataclass(frozen=True, eq=False)
class Set:
    """Takes of one line, what was heard while playing, and a fault of a whole take: (number, kind)."""

    name: str
    seed: int
    source: Source
    written: Written
    takes: tuple[Take, ...]
    spoilt: tuple[int, str] | None
    click: Floats
    guide: Floats


def make_set(number: int, seed: int = 0) -> Set:
    """One set of the catalogue; the same number and seed always give the same set."""
    rng = np.random.default_rng(7000 + 1000 * seed + number)
    source = SOURCES[number % len(SOURCES)]
    tune = TUNES[(number * 7 + number // len(SOURCES) + 3 * seed) % len(TUNES)]
    wander = 0.012 if number % 5 == 4 else 0.0
    written = write_line(tune, rng, lowest=source.lowest, highest=source.highest, seconds=LENGTH_S, wander=wander)
    player = Player(
        lateness_ms=rng.normal() * 7.0,
        scatter_ms=rng.uniform(5, 12),
        tuning_cents=rng.normal() * 4.0,
        slurs=0.0 if source.kind == "string" else rng.uniform(0.1, 0.5),
        scoops_cents=rng.choice([0.0, 40.0]),
        falls=rng.choice([0.0, 0.1]),
    )
    bleed = _BLEEDS[number % len(_BLEEDS)]
    kind = _WHOLE[number % len(_WHOLE)]
    air_s = rng.uniform(0.0003, 0.0017)
    spoilt = (int(rng.integers(TAKES)), kind) if kind else None
    takes = tuple(
        _take(
            k, number, written, rng, player=player, bleed=bleed, rate_wrong=spoilt == (k, "wrong rate"), air_s=air_s
        )
        for k in range(TAKES)
    )
    length_s = written.line.notes[-1].end_s + 5.0
    return Set(
        f"{number:02d} {source.name}, {tune.split('/')[1]}", 1000 * seed + number, source, written, takes, spoilt,
        _click(written, length_s), _guide(written, length_s, rng),
    )  # fmt: skip


def _take(
    k: int, number: int, written: Written, rng: np.random.Generator, *, player: Player, bleed: str, rate_wrong: bool,
    air_s: float,
) -> Take:  # fmt: skip
    phrases = len(written.line.phrases)
    kinds = [*NOTE_FAULTS, *PHRASE_FAULTS, *SOUND_FAULTS[:4]]
    mine = [p for p in range(phrases) if p % TAKES == k]
    faults = {p: str(rng.choice(kinds)) for p in mine if rng.uniform() < 0.75}
    if bleed != "none":
        faults = {p: f for p, f in faults.items() if f != "click_bleed"}
    sr = int(rng.choice(_RATES))
    span = written.line
    lost: tuple[tuple[float, int], ...] = ()
    if number % 6 == 3 and k == 1:
        at_s = span.notes[span.phrases[phrases // 2].first_note].start_s - 0.35
        lost = ((at_s, int(rng.choice([1024, 2048, 4096]))),)
    part: tuple[float | None, float | None] = (None, None)
    if number % 7 == 5 and k == 3:
        first, last = span.phrases[2], span.phrases[-3]
        part = (span.notes[first.first_note].start_s - 1.0, span.notes[last.last_note].end_s + 1.0)
        faults = {p: f for p, f in faults.items() if 2 <= p <= phrases - 3}
    return Take(
        player=player,
        sr=44100 if rate_wrong else sr,
        named_sr=48000 if rate_wrong else None,
        offset_s=0.0 if k == 0 else float(rng.choice([0.0, rng.uniform(-4, -1), rng.uniform(-1, 2.5)])),
        drift_ppm=float(rng.choice([0.0, 0.0, 0.0, 60.0, -120.0, 200.0])) if number % 4 == 2 and k == 2 else 0.0,
        lost=lost,
        room_dbfs=float(rng.uniform(-75, -58)),
        reverb_s=float(rng.choice([0.0, 0.25, 0.5])),
        click_db={"click": -34.0, "faint click": -48.0}.get(bleed),
        guide_db=-38.0 if bleed == "guide" else None,
        air_s=air_s,
        from_s=part[0],
        to_s=part[1],
        faults=faults,
    )


def _click(written: Written, length_s: float) -> Floats:
    y = np.zeros(round(length_s * SR))
    t = np.arange(round(0.03 * SR)) / SR
    tick = np.sin(2 * np.pi * 1320 * t) * np.exp(-t / 0.006)
    for beat in written.grid.beats_in(0.0, length_s - 0.1):
        at = round(float(written.grid.beat_to_sec(beat)) * SR)
        y[at : at + len(tick)] += tick
    return y


def _guide(written: Written, length_s: float, rng: np.random.Generator) -> Floats:
    """Drums of noise and chords of plain tones on the grid: what a mix sounds like through headphones."""
    y = np.zeros(round(length_s * SR))
    t = np.arange(round(0.4 * SR)) / SR
    root = 48
    for beat in written.grid.beats_in(0.0, length_s - 0.6):
        at = round((float(written.grid.beat_to_sec(beat)) + rng.normal() * 0.004) * SR)
        root = int(rng.choice([48, 53, 55, 45])) if round(beat) % 4 == 0 else root
        chord = sum(np.sin(2 * np.pi * 440 * 2 ** ((root + i - 69) / 12) * t) for i in (0, 4, 7))
        y[at : at + len(t)] += 0.1 * chord * np.exp(-t / 0.2)
        y[at : at + len(t)] += 0.6 * rng.normal(size=len(t)) * np.exp(-t / (0.05 if round(beat) % 2 else 0.02))
    return y
