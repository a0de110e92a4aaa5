"""The comp: untouched where nothing needs touching, and power held across joins."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.join import join, on_guide_time
from obbligato.takes.levels import Levels
from obbligato.takes.matching import matching_gains
from obbligato.takes.place import stated_placement
from obbligato.takes.readings import Choice, PhraseSpan, Seam, TimedLine, TimedNote
from obbligato.takes.room_tone import room_tone
from obbligato.takes.seam_reel import reel_times_s, seam_reel
from obbligato.takes.seams import joined_at
from obbligato.takes.steps import sides, with_steps

SR = 48000


def _noise(seed: int, seconds: float = 2.0, channels: int = 1) -> Audio:
    y = 0.1 * np.random.default_rng(seed).normal(size=(channels, int(seconds * SR)))
    return Audio(y.astype(np.float32), SR)


def _seam(at_s: float) -> Seam:
    return Seam(at_s, "a", "b", 30.0, 0.0, 0.0, 0.0)


def test_one_take_from_the_guides_start_comes_out_bit_for_bit() -> None:
    take = _noise(1, channels=2)
    choice = (Choice(0, "a", ""), Choice(1, "a", ""))
    comp = join({"a": lambda: take}, {"a": stated_placement(0.0)}, choice, (), n_samples=take.n_samples, sr=SR)
    assert np.array_equal(comp.audio.y, take.y)


def test_a_take_that_starts_later_is_moved_by_whole_samples_and_padded() -> None:
    take = _noise(1)
    y = on_guide_time(take, stated_placement(0.5), n_samples=3 * SR, sr=SR)
    edge = SR // 100
    assert not y[:, : SR // 2].any()
    assert np.array_equal(y[:, SR // 2 + edge : SR // 2 + take.n_samples - edge], take.y[:, edge:-edge])


def test_a_take_that_starts_before_the_guide_loses_its_head() -> None:
    take = _noise(1)
    y = on_guide_time(take, stated_placement(-0.5), n_samples=SR, sr=SR)
    assert np.array_equal(y, take.y[:, SR // 2 : SR // 2 + SR])


# A sine brought from 44.1 to 48 kHz must be the same sine: soxr's passband at this quality is flat far below 0.1 dB,
# so the residual lies at least 60 dB under it.
def test_a_take_at_another_rate_keeps_its_time() -> None:
    t = np.arange(2 * 44100) / 44100
    take = Audio(np.sin(2 * np.pi * 440 * t).astype(np.float32), 44100)
    y = on_guide_time(take, stated_placement(0.0), n_samples=2 * SR, sr=SR)[0]
    inside = slice(SR // 2, 3 * SR // 2)
    wanted = np.sin(2 * np.pi * 440 * np.arange(2 * SR) / SR)
    assert np.abs(y[inside] - wanted[inside]).max() < 1e-3


def test_two_takes_are_joined_without_a_hole() -> None:
    a, b = _noise(1), _noise(2)
    choice = (Choice(0, "a", ""), Choice(1, "b", ""))
    placements = {"a": stated_placement(0.0), "b": stated_placement(0.0)}
    comp = join({"a": lambda: a, "b": lambda: b}, placements, choice, (_seam(1.0),), n_samples=a.n_samples, sr=SR)
    before, after = int(0.98 * SR), int(1.02 * SR)
    assert np.array_equal(comp.audio.y[:, :before], a.y[:, :before])
    assert np.array_equal(comp.audio.y[:, after:], b.y[:, after:])
    # 1440 samples of noise hold their mean power to 1/sqrt(720), 4 %, so 1 dB is six standard deviations away.
    faded = comp.audio.y[0, int(0.985 * SR) : int(1.015 * SR)]
    assert 10 * np.log10(np.mean(faded**2) / 0.01) == pytest.approx(0.0, abs=1.0)


def test_a_take_of_two_channels_and_one_of_one_are_joined_in_two() -> None:
    a, b = _noise(1), _noise(2, channels=2)
    placements = {"a": stated_placement(0.0), "b": stated_placement(0.0)}
    takes, choice = {"a": lambda: a, "b": lambda: b}, (Choice(0, "a", ""), Choice(1, "b", ""))
    y = join(takes, placements, choice, (_seam(1.0),), n_samples=a.n_samples, sr=SR).audio.y
    assert np.array_equal(y[:, : int(0.98 * SR)], np.repeat(a.y[:, : int(0.98 * SR)], 2, axis=0))
    assert np.array_equal(y[:, int(1.02 * SR) :], b.y[:, int(1.02 * SR) :])


def test_joining_a_take_with_itself_changes_nothing_audible() -> None:
    a = _noise(1)
    choice = (Choice(0, "a", ""), Choice(1, "b", ""))
    placements = {"a": stated_placement(0.0), "b": stated_placement(0.0)}
    comp = join({"a": lambda: a, "b": lambda: a}, placements, choice, (_seam(1.0),), n_samples=a.n_samples, sr=SR)
    assert np.abs(comp.audio.y - a.y).max() < 1e-6


def test_a_missing_take_is_refused() -> None:
    with pytest.raises(InputError, match="'b' is not there"):
        join({}, {}, (Choice(0, "b", ""),), (), n_samples=SR, sr=SR)


def _line(*spans: tuple[float, float]) -> TimedLine:
    return TimedLine(
        tuple(TimedNote(i, a, b, 60) for i, (a, b) in enumerate(spans)), (PhraseSpan(0, 0, len(spans) - 1),)
    )


def _in_a_room(
    seconds: float, *, sounding: tuple[tuple[float, float], ...], dead: tuple[tuple[float, float], ...] = ()
):
    """Notes 40 dB over a room of steady noise at -60 dBFS, with stretches of digital silence."""
    y = 1e-3 * np.random.default_rng(3).normal(size=round(seconds * SR))
    t = np.arange(len(y)) / SR
    for a, b in sounding:
        y[(t >= a) & (t < b)] += 0.14 * np.sin(2 * np.pi * 440 * t[(t >= a) & (t < b)])
    for a, b in dead:
        y[(t >= a) & (t < b)] = 0.0
    return Audio(y[None].astype(np.float32), SR)


def _levels_db(y: np.ndarray, step_s: float = 0.02) -> np.ndarray:
    n = round(step_s * SR)
    return 10 * np.log10(np.mean(y[: len(y) // n * n].reshape(-1, n) ** 2, axis=1) + 1e-20)


# The room is at -60 dBFS by construction; the level of 960 samples of noise varies by 0.2 dB (one standard
# deviation), of overlapped grains by somewhat more.
def test_where_a_take_is_dead_or_not_there_its_room_is_heard() -> None:
    take = _in_a_room(5.0, sounding=((0.5, 1.5), (3.0, 4.0)), dead=((1.8, 2.7),))
    line, choice = _line((1.5, 2.5), (4.0, 5.0), (6.5, 7.0)), (Choice(0, "a", ""),)
    comp = join({"a": lambda: take}, {"a": stated_placement(1.0)}, choice, (), n_samples=9 * SR, sr=SR, line=line)
    y = comp.audio.y[0]
    for a, b in ((1.0, 1.45), (2.85, 3.65), (6.05, 6.95)):
        assert np.abs(_levels_db(y[int(a * SR) : int(b * SR)]) + 60.0).max() < 2.5
    # Outside the music it fades to nothing within a second; where the take sounds it is untouched.
    assert not y[int(8.1 * SR) :].any()
    assert _levels_db(y[: int(0.06 * SR)]).max() < -65.0
    assert np.array_equal(y[int(1.02 * SR) : int(2.8 * SR)], take.y[0, int(0.02 * SR) : int(1.8 * SR)])


def test_a_room_does_not_repeat_and_is_the_same_each_time() -> None:
    take = _in_a_room(3.0, sounding=((1.0, 2.0),))
    room = room_tone(take.y, 6 * SR, sr=SR)[0]
    assert np.array_equal(room, room_tone(take.y, 6 * SR, sr=SR)[0])
    spectrum = np.fft.rfft(room.astype(np.float64), 2 * len(room))
    correlation = np.fft.irfft(np.abs(spectrum) ** 2)[: len(room)]
    # A loop shows as a peak near 1. Noise of 6 s is alike by chance to 1 / sqrt(288000) = 0.002.
    assert np.abs(correlation[SR // 100 : 4 * SR]).max() / correlation[0] < 0.5


def test_a_take_of_nothing_but_sound_and_digital_silence_has_no_room() -> None:
    assert not room_tone(np.zeros((1, SR), dtype=np.float32), SR, sr=SR).any()


# The reference is arithmetic: of a take that lasts T and runs slow by d, the middle lies at T / 2 / (1 + d).
def test_a_take_whose_clock_drifts_is_laid_where_its_middle_is_right_and_not_resampled() -> None:
    placement = replace(stated_placement(0.25), drift_ppm=200.0)
    levels = Levels(np.zeros(100_001, dtype=np.float32), -60.0)
    at = joined_at(SimpleNamespace(placement=placement, levels=levels))
    middle_s = 100.0
    assert at.offset_s == pytest.approx(0.25 + middle_s / (1 + 200e-6) - middle_s, abs=2e-4)
    take = _noise(1)
    y = on_guide_time(take, at, n_samples=3 * SR, sr=SR)
    start = round(at.offset_s * SR)
    assert np.array_equal(y[:, start + SR // 100 : start + SR], take.y[:, SR // 100 : SR])


def test_a_stated_gain_is_applied_and_nothing_else() -> None:
    take = _noise(1)
    choice = (Choice(0, "a", ""),)
    comp = join(
        {"a": lambda: take},
        {"a": stated_placement(0.0)},
        choice,
        (),
        n_samples=take.n_samples,
        sr=SR,
        gains_db={"a": 6.0},
    )
    assert np.allclose(comp.audio.y, take.y * 10 ** (6.0 / 20), rtol=1e-6)


def _reed(notes: TimedLine, *, seed: int, turned: bool = False, brighter_db: float = 0.0) -> np.ndarray:
    """Lopsided notes (harmonics that start together), each a little different, over some noise."""
    rng = np.random.default_rng(seed)
    t = np.arange(round((notes.notes[-1].end_s + 0.5) * SR)) / SR
    y = 1e-3 * rng.normal(size=len(t))
    for note in notes.notes:
        hz = 220.0 * 2 ** (note.index / 12)
        inside = (t >= note.start_s) & (t < note.end_s)
        for k in range(1, 12):
            level = 0.1 / k * 10 ** (brighter_db * (k * hz >= 1500) / 20) * rng.uniform(0.8, 1.2)
            y[inside] += level * np.cos(2 * np.pi * k * hz * t[inside] + rng.uniform(-0.4, 0.4))
    return (-y if turned else y)[None].astype(np.float32)


NOTES = _line(*((0.5 * i, 0.5 * i + 0.4) for i in range(16)))


def _stepped(at_s: float, placed: dict[str, np.ndarray]) -> Seam:
    seam = _seam(at_s)
    before, after = (sides(placed[name], [seam], NOTES, sr=SR)[0] for name in ("a", "b"))
    return with_steps(seam, before, after, sr=SR)


@pytest.mark.parametrize(("turned", "said"), [(False, "same"), (True, "turned")])
def test_polarity_is_told_by_the_lopsided_wave(turned: bool, said: str) -> None:
    placed = {"a": _reed(NOTES, seed=1), "b": _reed(NOTES, seed=2, turned=turned)}
    assert _stepped(3.95, placed).polarity == said


def test_polarity_of_a_wave_that_is_not_lopsided_is_unknown() -> None:
    noise = {name: _noise(seed, 8.0).y for name, seed in (("a", 1), ("b", 2))}
    assert _stepped(3.95, noise).polarity == "unknown"


# Partials from 1.5 kHz on are 6 dB stronger in the second take, and so is the tilt; they are drawn at random by 20 %.
def test_a_step_of_tone_is_measured_in_decibels() -> None:
    placed = {"a": _reed(NOTES, seed=1), "b": _reed(NOTES, seed=2, brighter_db=6.0)}
    assert _stepped(3.95, placed).tone_step_db == pytest.approx(6.0, abs=1.0)


def test_the_law_of_the_fade_follows_how_alike_the_takes_are() -> None:
    a = _noise(1, 8.0).y
    alike = _stepped(3.0, {"a": a, "b": a})
    unlike = _stepped(3.0, {"a": a, "b": _noise(2, 8.0).y})
    assert (alike.law, unlike.law) == ("equal_gain", "equal_power")
    assert alike.correlation == pytest.approx(1.0)


def test_matching_gains_take_the_steps_out() -> None:
    # b is 3 dB louder than a and c 2 dB softer: known beforehand, and seen as steps at the seams.
    steps = (("a", "b", 3.0), ("b", "a", -3.0), ("a", "c", -2.0))
    seams = [Seam(float(i), x, y, 30.0, step, 0.0, 0.0) for i, (x, y, step) in enumerate(steps)]
    assert matching_gains(seams, {}, keep="a") == {"b": -3.0, "c": 2.0}
    assert matching_gains([replace(s, level_step_db=0.2) for s in seams[:1]], {}, keep="a") == {}


def test_the_reel_holds_a_second_on_each_side_of_each_seam() -> None:
    comp = _noise(1, 10.0)
    reel = seam_reel(comp, [_seam(3.0), _seam(9.5)])
    first, second = (round(at_s * SR) for at_s in reel_times_s(2))
    edge = SR // 40
    for at, seam_s, after in ((first, 3.0, SR - edge), (second, 9.5, SR // 2)):
        here = round(seam_s * SR)
        assert np.array_equal(reel.y[:, at - SR + edge : at + after], comp.y[:, here - SR + edge : here + after])
    assert not reel.y[:, first + SR : second - SR].any()
