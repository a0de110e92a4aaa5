"""Where takes lie: bleed however faint, clocks, lost blocks, wrong rates, and what is no take at all.

What is planted is known: delays are whole samples, drift and rates are resampled by SoX's resampler, and lost blocks
are cut out. The limits are the aims set for placing (95 % within a millisecond; none unannounced off by more than 5).
"""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
import scipy.signal
import soxr

import players
from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.sound.audio import Audio
from obbligato.takes import place
from obbligato.takes.bleed import Bleed, find_bleed
from obbligato.takes.clock import Clock, Loss
from obbligato.takes.hearing import to_analysis_rate
from obbligato.takes.mended import to_mended
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.place import Placement, place_take
from obbligato.takes.read import read_takes
from obbligato.takes.readings import TimedLine

SR = 24000
"""Of the players, who are made faster so."""


@pytest.fixture(scope="module")
def line() -> TimedLine:
    made: TimedLine = players.invent_line(np.random.default_rng(3), phrases=11)
    return made


@pytest.fixture(scope="module")
def few(line: TimedLine) -> TimedLine:
    """The first phrases of the line."""
    phrases = line.phrases[:7]
    return TimedLine(line.notes[: phrases[-1].last_note + 1], phrases)


@pytest.fixture(scope="module")
def song(line: TimedLine) -> np.ndarray:
    """A song of noisy strokes and falling tones, at the analysis rate."""
    rng = np.random.default_rng(0)
    y = np.zeros(int((line.notes[-1].end_s + 4.0) * ANALYSIS_SR))
    t = np.arange(int(0.5 * ANALYSIS_SR)) / ANALYSIS_SR
    for at in range(0, len(y) - len(t), int(0.3 * ANALYSIS_SR)):
        hz = 55.0 * 2 ** (rng.integers(0, 36) / 12)
        y[at : at + len(t)] += 0.1 * np.sin(2 * np.pi * hz * t) * np.exp(-t / 0.3)
        y[at : at + len(t)] += 0.1 * rng.normal(size=len(t)) * np.exp(-t / 0.02)
    return y.astype(np.float32)


@pytest.fixture(scope="module")
def playing(line: TimedLine) -> np.ndarray:
    """A take that begins 1.2345 s into the song and is played late, at the analysis rate."""
    how = players.Playing(timbre="bowed", sr=ANALYSIS_SR, offset_s=1.2345, lateness_ms=12.0)
    return to_analysis_rate(players.play(line, how, np.random.default_rng(7)))


def _with_bleed(playing: np.ndarray, song: np.ndarray, db: float) -> np.ndarray:
    """The song as headphones let it out, `db` against the playing's peak, begun 1.2345 s in."""
    heard = scipy.signal.lfilter(scipy.signal.firwin(201, [400, 6000], fs=ANALYSIS_SR, pass_zero=False), 1, song)[
        100:
    ]
    start = round(1.2345 * ANALYSIS_SR)
    bleed = np.zeros(len(playing))
    part = heard[start : start + len(playing)]
    bleed[: len(part)] = part * 10 ** (db / 20) * np.abs(playing).max() / np.abs(heard).max()
    return (playing + bleed).astype(np.float32)


# A recording's bleed lies some 40 to 60 dB under the playing (common practice, no source).
@pytest.mark.parametrize("db", [-40.0, -62.0])
def test_bleed_gives_the_place_to_a_tenth_of_a_millisecond(playing: np.ndarray, song: np.ndarray, db: float) -> None:
    found = find_bleed(_with_bleed(playing, song, db), song, near_s=1.25)
    assert found is not None
    assert found.clock.offset_s == pytest.approx(1.2345, abs=0.0001)
    assert found.error_s <= 0.001
    assert not found.clock.drift_ppm
    assert not found.clock.losses


# An ear cup lies some third of a metre from the microphone, a millisecond of air (common practice, no source).
@pytest.mark.parametrize("air_ms", [0.5, 1.5])
def test_the_way_from_the_headphones_is_taken_off(
    line: TimedLine, playing: np.ndarray, song: np.ndarray, air_ms: float
) -> None:
    late = np.concatenate([np.zeros(round(air_ms * 16), np.float32), song])[: len(song)]
    y = _with_bleed(playing, late, -46.0)
    placement = place_take(Audio(y[None, :], ANALYSIS_SR), line, guide=Audio(song[None, :], ANALYSIS_SR))
    assert placement.method == "bleed"
    assert 1e3 * placement.offset_s == pytest.approx(1234.5, abs=0.7)
    assert abs(1e3 * placement.offset_s - 1234.5) <= placement.uncertainty_ms


def test_a_block_lost_in_a_rest_is_told_by_the_notes_around_it(line: TimedLine) -> None:
    how = players.Playing(timbre="plucked", sr=SR, offset_s=0.0, lateness_ms=5.0)
    whole = players.play(line, how, np.random.default_rng(7))
    phrase = line.phrases[5]
    at_s = line.notes[phrase.first_note].start_s - 0.2
    lost = round(0.0427 * SR)  # 2048 samples at 48 kHz
    y = np.delete(whole.y, np.arange(round(at_s * SR), round(at_s * SR) + lost), axis=1)
    y *= np.abs(y) > 0.002  # A gate, which leaves no wave to be broken in the rests.
    placement = place_take(Audio(y, SR), line)
    (loss,) = placement.losses
    assert abs(1e3 * loss.lost_s - 42.7) <= 1e3 * loss.error_s < 30.0
    assert loss.at_s == pytest.approx(at_s, abs=1.0)
    assert placement.offset_s == 0.0
    assert place_take(whole, line).losses == ()


def test_notes_near_clicks_are_no_bleed_of_them(line: TimedLine) -> None:
    """A click of the player's own sound, as far as that goes: the attacks of another take, one for each note."""
    attacks = np.zeros(round((line.notes[-1].end_s + 2.0) * ANALYSIS_SR), np.float32)
    how = players.Playing(timbre="plucked", sr=ANALYSIS_SR)
    one = players.play(line, how, np.random.default_rng(3)).y[0]
    first = round(line.notes[0].start_s * ANALYSIS_SR)
    stroke = one[first : first + 320] * np.hanning(640)[320:].astype(np.float32)
    for note in line.notes:
        at = round(note.start_s * ANALYSIS_SR)
        attacks[at : at + 320] += stroke
    played = players.play(line, how, np.random.default_rng(4)).y[0]
    assert find_bleed(played, attacks, near_s=0.0) is None


def test_without_bleed_none_is_found(playing: np.ndarray, song: np.ndarray) -> None:
    assert find_bleed(playing, song, near_s=1.25) is None


def test_clicks_whose_sound_is_not_known_give_the_place_to_a_few_milliseconds(few: TimedLine) -> None:
    every = tuple(phrase.index for phrase in few.phrases)
    how = players.Playing("plucked", sr=ANALYSIS_SR, offset_s=1.5, lateness_ms=9.0, clicks=every, click_gain=0.006)
    grid = Grid.steady(100.0, 2.0, Meter())
    for gain, method in ((0.006, "bleed"), (0.0, "line")):
        take = players.play(few, dataclasses.replace(how, click_gain=gain), np.random.default_rng(1))
        (read,) = read_takes(few, [("a", take)], grid=grid)
        assert read.placement.method == method
        assert abs(read.reading.offset_ms - 1500.0) <= min(read.placement.uncertainty_ms, 3.0 if gain else np.inf)


def test_drift_and_lost_blocks_are_told_apart_by_bleed(playing: np.ndarray, song: np.ndarray) -> None:
    y = _with_bleed(playing, song, -46.0)
    y = np.asarray(soxr.resample(y, ANALYSIS_SR, ANALYSIS_SR * (1 + 60e-6)), dtype=np.float32)
    lost = {22.0: 341, 44.0: 171}  # 1024 and 512 samples at 48 kHz
    for at_s, n in sorted(lost.items(), reverse=True):
        y = np.delete(y, np.arange(int(at_s * ANALYSIS_SR), int(at_s * ANALYSIS_SR) + n))
    found = find_bleed(y, song, near_s=1.25)
    assert found is not None
    assert found.clock.offset_s == pytest.approx(1.2345, abs=0.0005)
    assert found.clock.drift_ppm == pytest.approx(60.0, abs=3.0)
    assert [loss.lost_s for loss in found.clock.losses] == pytest.approx(
        [n / ANALYSIS_SR for n in lost.values()], abs=5e-4
    )
    assert [loss.at_s for loss in found.clock.losses] == pytest.approx(list(lost), abs=0.7)


def test_what_is_mended_is_gone(line: TimedLine, playing: np.ndarray, song: np.ndarray) -> None:
    y = _with_bleed(playing, song, -46.0)
    y = np.asarray(soxr.resample(y, ANALYSIS_SR, ANALYSIS_SR * (1 - 80e-6)), dtype=np.float32)
    y = np.delete(y, np.arange(30 * ANALYSIS_SR, 30 * ANALYSIS_SR + 683))
    take, guide = Audio(y[None, :], ANALYSIS_SR), Audio(song[None, :], ANALYSIS_SR)
    placement = place_take(take, line, guide=guide)
    assert placement.drift_ppm == pytest.approx(-80.0, abs=3.0)
    assert len(placement.losses) == 1
    filled = to_mended(take, placement, "steps")
    assert abs(filled.n_samples - take.n_samples - 683) <= 8
    mended = to_mended(filled, placement, "clock")
    after = find_bleed(mended.y[0], song, near_s=1.25)
    assert after is not None
    assert (after.clock.drift_ppm, after.clock.losses) == (0.0, ())
    assert after.clock.offset_s == pytest.approx(1.2345, abs=0.0005)
    with pytest.raises(InputError, match="nothing to mend"):
        to_mended(mended, Placement(1.2345, 0.0, 1.0, "bleed", ""), "clock")


# Rates that converters run at (AES5-2018 gives 48, 44.1 and 96 kHz, and their multiples).
@pytest.mark.parametrize(("true_hz", "named_hz"), [(44100, 48000), (48000, 44100), (96000, 48000), (44100, 88200)])
def test_a_wrong_rate_is_named_and_mended(line: TimedLine, true_hz: int, named_hz: int) -> None:
    beginning = TimedLine(line.notes[:12], line.phrases[:1])
    take = players.play(beginning, players.Playing(timbre="reed", sr=true_hz), np.random.default_rng(2))
    short = take.y[:, : 20 * true_hz]
    placement = place_take(Audio(short, named_hz), line)
    assert placement.rate_suspect
    assert placement.true_sr == true_hz
    mended = to_mended(Audio(short, named_hz), placement, "rate")
    assert mended.sr == true_hz
    assert np.array_equal(mended.y, short)


# Film and video run at 1000/1001 of their nominal rates (SMPTE ST 318, from memory).
def test_a_rate_pulled_by_a_thousandth_is_told_from_a_clock(line: TimedLine) -> None:
    take = players.play(line, players.Playing(timbre="reed", sr=SR), np.random.default_rng(2))
    pulled = Audio(np.asarray(soxr.resample(take.y.T, SR, SR / 1.001), dtype=np.float32).T, SR)
    placement = place_take(pulled, line)
    assert placement.true_sr == round(SR * 1000 / 1001)
    assert not placement.rate_suspect
    again = place_take(to_mended(pulled, placement, "rate"), line)
    assert (again.true_sr, again.drift_ppm) == (None, 0.0)


def test_a_take_that_only_its_notes_place_says_how_far_it_may_be_off(few: TimedLine) -> None:
    for seed, lateness_ms in ((1, 9.0), (2, -6.0)):
        how = players.Playing(timbre="plucked", sr=SR, offset_s=7.25, lateness_ms=lateness_ms)
        placement = place_take(players.play(few, how, np.random.default_rng(seed)), few)
        assert placement.method == "line"
        assert abs(1e3 * placement.offset_s - 7250.0) <= placement.uncertainty_ms
        assert f"give or take {placement.uncertainty_ms:.0f} ms" in placement.sentence


@pytest.mark.parametrize(("strength", "is_believed"), [(7.8, False), (30.0, True)])
def test_faint_bleed_that_has_the_player_a_tenth_of_a_second_off_is_not_believed(
    few: TimedLine, monkeypatch: pytest.MonkeyPatch, strength: float, is_believed: bool
) -> None:
    """The player is on time; what is said to be heard of the click lies 0.12 s elsewhere."""
    take = players.play(few, players.Playing(sr=SR, offset_s=0.7), np.random.default_rng(4))
    found = Bleed(Clock(0.7 + 0.12), strength, 1e-4)
    monkeypatch.setattr(place, "find_bleed", lambda *args, **kwargs: found)
    placed = place_take(take, few, click=Audio(np.zeros((1, SR), np.float32), SR))
    assert (placed.method == "bleed") is is_believed
    assert abs(placed.offset_s - 0.7) < 0.06 or is_believed


def test_a_take_beside_one_whose_place_is_sure(few: TimedLine) -> None:
    rng = np.random.default_rng(4)
    how = players.Playing(timbre="plucked", sr=SR, lateness_ms=14.0)
    takes = [(str(t), players.play(few, dataclasses.replace(how, offset_s=t), rng)) for t in (2.0, 5.5)]
    stated, beside = (take.reading for take in read_takes(few, takes, starts_s={"2.0": 2.0}))
    assert stated.offset_ms == 2000.0
    assert beside.offset_ms == pytest.approx(5500.0, abs=5.0)
    assert "beside those of '2.0'" in beside.sentence
    alone = place_take(takes[1][1], few)
    assert abs(1e3 * alone.offset_s - 5500.0) > abs(beside.offset_ms - 5500.0)


def test_a_few_bars_in_a_long_recording_are_a_take(few: TimedLine) -> None:
    take = players.play(few, players.Playing(timbre="reed", sr=SR, offset_s=3.0), np.random.default_rng(5))
    first, last = (few.phrases[k] for k in (3, 4))
    y = np.array(take.y) * 0.0 + np.random.default_rng(0).normal(size=take.y.shape).astype(np.float32) * 5e-4
    here = slice(
        int((few.notes[first.first_note].start_s - 3.3) * SR), int((few.notes[last.last_note].end_s - 2.7) * SR)
    )
    y[:, here] = take.y[:, here]
    (read,) = read_takes(few, [("a", Audio(y, SR))])
    assert abs(read.reading.offset_ms - 3000.0) <= read.placement.uncertainty_ms
    not_there = [phrase.index for phrase in read.reading.phrases if phrase.flags == ("absent",)]
    assert not_there == [phrase.index for phrase in few.phrases if phrase.index not in {3, 4}]


def _speech(seconds: float) -> np.ndarray:
    """Gliding, voiced and unvoiced by turns, as speech is; no recording of speech is at hand that may be copied."""
    rng = np.random.default_rng(1)
    n = int(seconds * SR)
    hz = 120.0 * 2 ** (np.cumsum(scipy.signal.lfilter([1], [1, -0.9995], rng.normal(size=n))) * 2e-7)
    voice = scipy.signal.sawtooth(2 * np.pi * np.cumsum(np.clip(hz, 70, 300)) / SR)
    on = (np.sin(2 * np.pi * 3.1 * np.arange(n) / SR) > -0.2).astype(float)
    return 0.1 * voice * on + 0.02 * rng.normal(size=n) * (1 - on)


def _tune(seed: int, timbre: str) -> np.ndarray:
    other = players.invent_line(np.random.default_rng(seed), phrases=6)
    return np.asarray(players.play(other, players.Playing(timbre=timbre, sr=SR), np.random.default_rng(seed)).y[0])


@pytest.mark.parametrize(
    "sound",
    [
        lambda: _speech(20.0),
        lambda: _tune(101, "brass"),
        lambda: _tune(102, "flute"),
        lambda: _tune(103, "bowed"),
        lambda: 0.1 * np.random.default_rng(0).normal(size=20 * SR),
        lambda: 0.1 * np.sin(2 * np.pi * 440.0 * np.arange(20 * SR) / SR),
    ],
    ids=["speech", "another tune", "a third", "a fourth", "noise", "one tone"],
)
def test_what_is_not_the_line_is_refused(few: TimedLine, sound) -> None:
    with pytest.raises(InputError, match="does not hold this line"):
        place_take(Audio(sound().astype(np.float32)[None, :], SR), few)


def test_the_guide_itself_is_refused(few: TimedLine, song: np.ndarray) -> None:
    played = to_analysis_rate(players.play(few, players.Playing(sr=ANALYSIS_SR), np.random.default_rng(5)))[
        : len(song)
    ]
    guide = Audio((song[: len(played)] * 0.3 + played)[None, :], ANALYSIS_SR)
    with pytest.raises(InputError, match="the guide itself"):
        place_take(guide, few, guide=guide)


def test_a_placement_is_read_back_from_its_words() -> None:
    placement = Placement(1.5, 60.0, 1.0, "bleed", "As it is.", losses=(Loss(10.0, 0.02, 9.0, 11.0),))
    assert Placement.from_words(json.loads(json.dumps(dataclasses.asdict(placement)))) == placement
    # By the definition of a loss: before it the clock alone, after it the lost time as well.
    assert placement.to_guide_s(5.0) == pytest.approx(1.5 + 5.0 / 1.00006)
    assert placement.to_guide_s(20.0) == pytest.approx(1.52 + 20.0 / 1.00006)
    times_s = np.array([2.0, 9.0, 12.0, 40.0])
    assert placement.to_take_s(placement.to_guide_s(times_s)) == pytest.approx(times_s)
