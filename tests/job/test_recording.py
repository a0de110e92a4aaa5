import itertools
import json
import time

import numpy as np
import pytest
import soundfile

from obbligato.errors import InputError
from obbligato.job.recording import RunningTake, mark_take, with_test_signal
from obbligato.job.recovering import recover_takes
from obbligato.job.session import begin_take, finish_take
from obbligato.job.store import JobFolder
from obbligato.music.grid import Grid, Meter
from obbligato.play.audio_settings import AudioSettings
from obbligato.play.take_sound import TakeSound, take_sound
from obbligato.sound.audio import Audio
from record.kills import kill_many
from record.simulated import Faults, SimulatedDevice

SR, BLOCK, ROUND_TRIP = 48000, 256, 1000


@pytest.fixture
def sound(rng):
    return TakeSound((0.1 * rng.standard_normal((2 * SR, 2))).astype(np.float32), SR, -1.5)


@pytest.fixture
def rng():
    return np.random.default_rng(3)


def take_of(folder, sound, *, device=None, **options):
    take = RunningTake(folder, device or SimulatedDevice(round_trip=ROUND_TRIP), sound, block=BLOCK, **options)
    take.start()
    return take.finish()


def test_a_take_lies_where_it_was_played_to_the_sample(folder, sound):
    recorded = take_of(folder, sound, round_trip=ROUND_TRIP, place="kitchen")
    take = JobFolder.open(folder.root).job.takes[0]
    assert recorded.take == take
    y, _ = soundfile.read(folder.path(take.file), dtype="float32")
    first = round((sound.starts_at_s - take.starts_at_s) * SR)  # of the file, where the sound begins
    assert np.allclose(y[first:], sound.y[: len(y) - first, 0], atol=2.0**-23)
    facts = json.loads(folder.path("takes/take_01.json").read_text())["recording"]
    assert (facts["device"], facts["place"], facts["round_trip_frames"]) == ("simulated", "kitchen", ROUND_TRIP)


def test_its_own_test_signal_places_a_take_whatever_the_device_reports(folder, sound):
    device = SimulatedDevice(round_trip=ROUND_TRIP)
    recorded = take_of(folder, with_test_signal(sound), device=device, measure=True, round_trip=5)
    y, _ = soundfile.read(folder.path(recorded.take.file), dtype="float32")
    first = round((sound.starts_at_s - recorded.take.starts_at_s) * SR)
    assert np.allclose(y[first:], sound.y[: len(y) - first, 0], atol=2.0**-23)


def test_passes_are_takes_of_their_own_and_a_noisy_one_is_left_out(folder, sound):
    for _ in range(2):
        take_of(folder, sound)
    mark_take(folder, 2, "noise")
    job = JobFolder.open(folder.root).job
    assert [take.number for take in job.takes] == [1, 2]
    assert job.left_out == {2}


def test_an_open_take_begins_its_sound_again_and_each_round_is_a_take_in_its_place(folder, sound):
    device = SimulatedDevice(round_trip=ROUND_TRIP, speed=8.0)
    settings = AudioSettings(block=BLOCK).with_round_trip(device.name, sr=SR, block=BLOCK, frames=ROUND_TRIP)
    take = begin_take(folder, device, sound, settings, open_ended=True)
    take.start()
    while take.state().frames < 2.6 * len(sound.y):
        time.sleep(0.01)
    take.stop(at_once=True)
    long, *passes = finish_take(take, folder)
    job = JobFolder.open(folder.root).job
    assert job.left_out == {long.take.number}
    assert [one.take.number for one in passes] == [2, 3, 4]
    assert "Its passes are takes 2 to 4" in long.sentences[-1]
    for one in passes:
        y, _ = soundfile.read(folder.path(one.take.file), dtype="float32")
        first = round((sound.starts_at_s - one.take.starts_at_s) * SR)
        n = min(len(y) - first, len(sound.y))
        assert np.allclose(y[first : first + n], sound.y[:n, 0], atol=2.0**-23)


def test_one_round_of_an_open_take_is_just_a_take(folder, sound):
    device = SimulatedDevice(round_trip=ROUND_TRIP, speed=8.0)
    take = begin_take(folder, device, sound, AudioSettings(block=BLOCK), open_ended=True)
    take.start()
    while take.state().frames < len(sound.y) // 2:
        time.sleep(0.01)
    take.stop(at_once=True)
    assert [one.take.number for one in finish_take(take, folder)] == [1]
    assert JobFolder.open(folder.root).job.left_out == frozenset()


def test_marks_are_kept_and_noise_is_taken_back(folder, sound):
    take_of(folder, sound)
    mark_take(folder, 1, "noise")
    assert (folder.job.marks, folder.job.left_out) == ({1: "noise"}, {1})
    mark_take(folder, 1, "good")
    job = JobFolder.open(folder.root).job
    assert (job.marks, job.left_out) == ({1: "good"}, frozenset())
    with pytest.raises(InputError, match="no take 9"):
        mark_take(folder, 9, "good")


def test_what_answers_too_late_is_not_begun(folder, sound):
    slow = SimulatedDevice(round_trip=round(0.15 * SR))
    with pytest.raises(InputError, match="150 ms"):
        begin_take(folder, slow, sound, AudioSettings(block=BLOCK))
    assert list(folder.path("takes").iterdir()) == []
    begin_take(folder, slow, sound, AudioSettings(block=BLOCK), anyway=True).discard()


def test_what_went_wrong_is_said_with_its_place(folder, sound):
    faults = Faults(lost=((200, 512),), gone_at_block=300)
    recorded = take_of(
        folder, sound, device=SimulatedDevice(round_trip=ROUND_TRIP, faults=faults), round_trip=ROUND_TRIP
    )
    said = " ".join(recorded.sentences)
    at_s = 200 * BLOCK / SR - 1.5 - ROUND_TRIP / SR
    assert f"Drop-out at {at_s:.2f} s of the guide: 10.7 ms were lost" in said  # 512 samples at 48 kHz
    assert "device was gone" in said
    assert recorded.take.frames == 300 * BLOCK


def test_what_only_the_device_says_is_told_so(folder, sound):
    """Its flag without a step in its clock: nothing is missing, as far as can be seen."""

    class Flagging(SimulatedDevice):
        def open(self, on_block, **options):
            blocks = itertools.count()
            flag = lambda heard, played, adc_s, dac_s, lost: on_block(  # noqa: E731
                heard, played, adc_s, dac_s, next(blocks) == 150
            )
            return super().open(flag, **options)

    device = Flagging(round_trip=ROUND_TRIP)
    recorded = take_of(folder, sound, device=device, round_trip=ROUND_TRIP)
    at_s = 150 * BLOCK / SR - 1.5 - ROUND_TRIP / SR
    said = (
        f"The device says that sound was lost at {at_s:.2f} s of the guide, but its clock shows no gap; listen there."
    )
    assert said in recorded.sentences


def test_a_silent_take_is_kept_and_left_out(folder, sound):
    recorded = take_of(folder, sound, device=SimulatedDevice(round_trip=ROUND_TRIP, level=0.0))
    assert any("silent" in sentence for sentence in recorded.sentences)
    assert folder.path(recorded.take.file).is_file()
    assert JobFolder.open(folder.root).job.left_out == {1}


def test_a_full_disk_is_refused_before_the_take(folder, sound, monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1_000_000}))
    with pytest.raises(InputError, match="make room"):
        take_of(folder, sound)
    assert not folder.path("takes").exists()


def test_programs_killed_while_they_record_lose_at_most_a_second():
    for left in kill_many(2, longest_s=1.2):
        assert left.is_right
        assert left.lost_s <= 1.0


def test_a_take_that_runs_is_not_recovered_away(folder, sound):
    take = RunningTake(folder, SimulatedDevice(round_trip=ROUND_TRIP), sound, block=BLOCK)
    assert recover_takes(folder) == ()
    take.start()
    assert take.finish().take.number == 1


def test_bars_have_two_bars_before_them_and_a_ring_after():
    """Steady 120 beats a minute in 4/4: a bar is two seconds."""
    grid = Grid.steady(120.0, 1.0, Meter.from_signature("4/4"))
    y = np.arange(40 * 1000, dtype=np.float32)[None, :] / 40000.0
    whole = take_sound(Audio(y, 1000), Audio(np.ones((1, 4000)), 1000), grid)
    assert whole.starts_at_s == pytest.approx(-3.5)  # half a second, then a count-in of four that ends at bar 1
    part = take_sound(Audio(y, 1000), Audio(np.ones((1, 4000)), 1000), grid, bars=(5, 6))
    assert part.starts_at_s == pytest.approx(1.0 + 2 * 2.0 - 0.5)
    assert len(part.y) == round(1000 * (0.5 + 5 * 2.0 + 3.5))  # run-in 2, bars 2, play-out 1
    assert part.y[500 + 1000, 0] == pytest.approx(y[0, 6000])
