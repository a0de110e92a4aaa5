import numpy as np
import pytest
import soundfile

from obbligato.errors import InputError
from obbligato.play.devices import refuse_late
from obbligato.play.latency import calibrate, round_trip_frames
from obbligato.play.recorder import Recorder
from obbligato.sound.growing import GrowingWav
from record.exact import all_settings
from record.loopback import WHY_NOT, is_possible
from record.simulated import Faults, SimulatedDevice

SR, BLOCK = 48000, 256


def recorded(tmp_path, device, sound, *, block=BLOCK, **options):
    path = tmp_path / "a.wav"
    recorder = Recorder(device, sound, GrowingWav(path, sr=SR, channels=1), block=block, **options)
    recorder.start()
    state = recorder.wait(30.0)
    y, _ = soundfile.read(path, dtype="float32")
    return recorder, state, y


@pytest.fixture
def noise(rng):
    return (0.1 * rng.standard_normal((5 * SR, 2))).astype(np.float32)


def test_what_is_heard_is_written_to_the_frame(tmp_path, noise):
    _, state, y = recorded(tmp_path, SimulatedDevice(round_trip=1234), noise)
    assert (state.ended, state.frames, state.dropouts) == ("end", len(noise), ())
    assert np.allclose(y[1234:], noise[:-1234, 0], atol=2.0**-23)
    assert state.highest_dbfs[0] == pytest.approx(20.0 * np.log10(np.abs(y).max()), abs=0.01)


@pytest.mark.parametrize(("round_trip", "sr"), [(256, 48000), (1777, 44100), (9001, 96000)])
def test_the_round_trip_is_found_to_the_frame(round_trip, sr):
    device = SimulatedDevice(round_trip=round_trip, level=0.05)
    assert calibrate(device, sr=sr, block=BLOCK, inputs=1, outputs=2) == round_trip


def test_a_signal_that_does_not_come_back_is_not_found_in_noise(rng):
    with pytest.raises(InputError, match="did not come back"):
        round_trip_frames((0.1 * rng.standard_normal(2 * SR)).astype(np.float32), sr=SR)


@pytest.mark.parametrize("says_so", [False, True])
@pytest.mark.parametrize("jitter_s", [0.0, 0.002])
def test_planted_dropouts_are_reported_at_their_block(tmp_path, noise, says_so, jitter_s):
    lost = ((100, 256), (400, 512), (700, 2048))
    device = SimulatedDevice(round_trip=512, faults=Faults(lost=lost, says_so=says_so, jitter_s=jitter_s))
    _, state, _ = recorded(tmp_path, device, noise)
    assert len(state.dropouts) == len(lost)
    for found, (block, frames) in zip(state.dropouts, lost, strict=True):
        assert abs(found.frame - block * BLOCK) <= BLOCK
        assert found.lost_s == pytest.approx(frames / SR, abs=1e-6 + jitter_s)


def test_late_stamps_alone_are_no_dropouts(tmp_path, noise):
    device = SimulatedDevice(round_trip=512, faults=Faults(jitter_s=0.008))
    _, state, _ = recorded(tmp_path, device, noise)
    assert state.dropouts == ()


@pytest.mark.parametrize("ppm", [-50.0, 0.0, 50.0])
def test_two_clocks_that_drift_apart_are_measured(tmp_path, ppm):
    device = SimulatedDevice(round_trip=2048, faults=Faults(drift_ppm=ppm, jitter_s=0.001))
    recorder, _, _ = recorded(tmp_path, device, np.zeros((30 * SR, 1), dtype=np.float32), block=2048)
    assert recorder.drift_ppm == pytest.approx(ppm, abs=1.0)


def test_a_device_that_vanishes_leaves_what_was_recorded(tmp_path, noise):
    device = SimulatedDevice(round_trip=512, faults=Faults(gone_at_block=300))
    _, state, y = recorded(tmp_path, device, noise)
    assert (state.ended, len(y)) == ("device", 300 * BLOCK)


def test_a_stop_lets_the_sound_ring_out_and_a_second_one_does_not(tmp_path, noise):
    for again, longest in ((False, SR), (True, 0)):
        path = tmp_path / f"{again}.wav"
        wav = GrowingWav(path, sr=SR, channels=1)
        recorder = Recorder(SimulatedDevice(round_trip=512, speed=4.0), noise, wav, block=BLOCK, open_ended=True)
        recorder.start()
        while recorder.state().frames < SR:
            pass
        recorder.stop(ring_out_s=1.0)
        if again:
            recorder.stop()
        before = recorder.state().frames
        state = recorder.wait(10.0)
        assert state.ended == "stop"
        assert longest <= state.frames - before + BLOCK <= longest + SR


@pytest.mark.parametrize(("gain", "heard"), [(0.5, (0.4, 0.2, 0.1)), (4.0, (0.4, 0.5012, 0.5012))])
def test_oneself_is_heard_late_by_the_round_trip_and_never_above_the_ceiling(tmp_path, gain, heard):
    """An impulse goes round and is played again by the gain each time; -6 dBTP is an amplitude of 0.5012."""
    sound = np.zeros((SR, 2), dtype=np.float32)
    sound[1000] = 0.4
    _, _, y = recorded(tmp_path, SimulatedDevice(round_trip=512), sound, self_gain=gain)
    at = np.flatnonzero(y)[:3]
    assert list(np.diff(at)) == [512, 512]
    assert y[at] == pytest.approx(heard, abs=1e-4)


def test_a_rate_the_device_has_not_is_refused(tmp_path, noise):
    with pytest.raises(InputError, match="cannot do 48000"):
        recorded(tmp_path, SimulatedDevice(round_trip=512, rates=(44100,)), noise)


def test_what_comes_too_late_is_refused_with_the_reason():
    """Wireless headphones come 100 to 300 ms late: common practice, no source."""
    refuse_late("USB audio interface", 0.012)
    with pytest.raises(InputError, match="wireless"):
        refuse_late("Bluetooth headset", 0.012)
    with pytest.raises(InputError, match="150 ms"):
        refuse_late("USB audio interface", 0.15)


@pytest.mark.slow
@pytest.mark.skipif(not is_possible(), reason=WHY_NOT)
def test_takes_through_a_real_stream_are_in_their_place_to_the_sample():
    """PortAudio with its output connected to its input; JACK without hardware."""
    (found,) = all_settings(2, rates=(48000,), blocks=(512,))
    assert "refused" not in found, found
    assert all(abs(off) <= 1 for off in found["off"])
