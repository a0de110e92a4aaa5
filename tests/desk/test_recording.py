"""Takes through the desk's server, on a device made by code: begun, watched, stopped, marked, recovered."""

import json
import shutil
import time

import numpy as np
import pytest
import soundfile

from obbligato.job.store import JobFolder
from obbligato.play.audio_settings import AudioSettings

pytestmark = pytest.mark.slow

JOB = "/api/jobs/NightFerry"
ROUND_TRIP = 1024
RUNNING = {"count-in", "recording", "ringing"}


@pytest.fixture(scope="module")
def desks():
    """The desks of this module by the devices they have."""
    return {}


@pytest.fixture
def simulated(mapped_jobs, serve, desks, tmp_path_factory):
    """A function that gives a desk with the mapped job; by default the device runs twenty times as fast as time."""

    def start(*, own=False, **options):
        options = {"speed": 20.0, **options}
        key = json.dumps(options)
        served = None if own else desks.get(key)
        if served is None:
            served = serve(tmp_path_factory.mktemp("recording") / "jobs", simulated=options)
            if not own:
                desks[key] = served
        served.call("POST", "/api/recording/stop", {"at_once": True})
        until(served, {"idle"})
        removed(served.root / "NightFerry")
        shutil.copytree(mapped_jobs / "NightFerry", served.root / "NightFerry")
        settings = AudioSettings(device="simulated", block=512)
        served.call("PATCH", "/api/recording/settings", settings.model_dump(exclude={"round_trips"}))
        return served

    return start


def removed(folder):
    if folder.exists():
        shutil.rmtree(folder)


def until(served, phases, seconds=20.0):
    """The state once its phase is one of these."""
    end = time.monotonic() + seconds
    while True:
        state = served.call("GET", "/api/recording")[1]
        if state["phase"] in phases:
            return state
        assert time.monotonic() < end, state
        time.sleep(0.02)


def done(served, path, body=None, seconds=30.0):
    """Begin something and wait for what comes of it."""
    status, state = served.call("POST", f"{JOB}/recording/{path}", body or {})
    assert status == 202, state
    return until(served, {"idle"}, seconds)["outcome"]


def test_a_take_lies_in_its_place_by_the_round_trip_that_was_measured(simulated):
    served = simulated()
    assert "21.33 ms" in done(served, "calibrate")["sentences"][0]  # 1024 of 48000 frames
    assert served.call("GET", f"{JOB}/recording")[1]["round_trip_ms"] == pytest.approx(1000 * ROUND_TRIP / 48000)
    outcome = done(served, "take", {})
    assert (outcome["kind"], outcome["numbers"], outcome["failed"]) == ("take", [1], False)
    folder = JobFolder.open(served.root / "NightFerry")
    take = folder.job.takes[0]
    y, sr = soundfile.read(folder.path(take.file))
    beats_s = 0.6 * np.arange(24)  # the guide's own clicks, at 100 a minute from its first sample
    heard = [int(np.argmax(np.abs(y[round((at - take.starts_at_s - 0.05) * sr) :]) > 0.01)) for at in beats_s[1:]]
    assert np.ptp(heard) <= 0.001 * sr
    assert json.loads(folder.path("takes/take_01.json").read_text())["recording"]["measured"] is True


def test_one_take_at_a_time_whoever_asks(simulated):
    served = simulated(speed=1.0)
    assert served.call("POST", f"{JOB}/recording/take", {})[0] == 202
    status, refused = served.call("POST", f"{JOB}/recording/take", {})
    assert (status, refused["error"]["code"]) == (409, "not_right")
    state = until(served, RUNNING)
    assert served.call("POST", f"{JOB}/recording/calibrate", {})[0] == 409
    assert "Take 1" in served.call("POST", f"{JOB}/recording/check", {})[1]["error"]["message"]
    later = served.call("GET", "/api/recording")[1]
    assert later["position_s"] + later["age_s"] >= state["position_s"]
    served.call("POST", "/api/recording/stop", {"at_once": True})
    assert until(served, {"idle"})["outcome"]["numbers"] == [1]


def test_marked_bars_begin_two_bars_before_them(simulated):
    served = simulated(speed=1.0)
    served.call("POST", f"{JOB}/recording/take", {"bars": [4, 4]})
    state = until(served, RUNNING)
    bar_s = 2.4
    assert state["first_s"] == pytest.approx(3 * bar_s)
    assert state["position_s"] == pytest.approx(1 * bar_s - 0.5, abs=1.0)  # half a second before the run-in
    served.call("POST", "/api/recording/stop", {"at_once": True})
    until(served, {"idle"})
    assert served.call("POST", f"{JOB}/recording/take", {"bars": [5, 4]})[0] == 422
    done_ = done(served, "take", {"bars": [400, 401]})
    assert (done_["kind"], done_["failed"]) == ("refused", True)


def test_take_after_take_until_stopped(simulated):
    served = simulated()
    served.call("POST", f"{JOB}/recording/take", {"loop": True})
    end = time.monotonic() + 20.0
    while (served.call("GET", "/api/recording")[1]["number"] or 0) < 3:
        assert time.monotonic() < end
        time.sleep(0.02)
    served.call("POST", "/api/recording/stop", {"at_once": True})
    until(served, {"idle"})
    assert len(JobFolder.open(served.root / "NightFerry").job.takes) >= 3


def test_the_rounds_of_an_open_take_become_takes(simulated):
    served = simulated()
    served.call("POST", f"{JOB}/recording/take", {"open_ended": True, "bars": [2, 3]})
    end = time.monotonic() + 20.0
    while served.call("GET", "/api/recording")[1]["round"] < 3:
        assert time.monotonic() < end
        time.sleep(0.02)
    served.call("POST", "/api/recording/stop", {"at_once": True})
    outcome = until(served, {"idle"})["outcome"]
    assert outcome["numbers"][:2] == [2, 3]
    job = JobFolder.open(served.root / "NightFerry").job
    assert job.left_out == {1}
    assert abs(job.takes[1].starts_at_s - job.takes[2].starts_at_s) <= 2 * ROUND_TRIP / 48000


def test_lost_sound_is_told_with_its_bar_while_the_take_runs(simulated):
    """Block 700 of 512 frames at 48 kHz is 7.47 s after the start, which is half a second and eight beats of 0.6 s
    before bar 1; with the round trip taken off that is 2.15 s into the song, beat 4.6 of bar 1."""
    served = simulated(speed=8.0, faults={"lost": [[700, 1024]]})
    done(served, "calibrate")
    served.call("POST", f"{JOB}/recording/take", {})
    end = time.monotonic() + 20.0
    while not (state := served.call("GET", "/api/recording")[1])["lost"]:
        assert state["phase"] != "idle" and time.monotonic() < end
        time.sleep(0.02)
    (lost,) = state["lost"]
    assert state["phase"] in RUNNING
    assert lost["words"] == "bar 1 beat 4"
    assert lost["lost_ms"] == pytest.approx(1000 * 1024 / 48000, abs=0.1)
    outcome = until(served, {"idle"})["outcome"]
    assert outcome["lost"] == [lost]
    cover = served.call("GET", f"{JOB}/recording")[1]["cover"]
    assert cover["takes"][0]["cells"] == ["lost", "lost"]


def test_a_device_that_vanishes_leaves_a_take_and_says_so(simulated):
    served = simulated(faults={"gone_at_block": 700})
    outcome = done(served, "take", {})
    assert outcome["failed"] is True
    assert any("device was gone" in sentence for sentence in outcome["sentences"])
    assert JobFolder.open(served.root / "NightFerry").job.takes[0].frames == 700 * 512


def test_the_end_of_the_desk_ends_a_take_and_keeps_it(simulated):
    served = simulated(speed=1.0, own=True)
    served.call("POST", f"{JOB}/recording/take", {})
    until(served, RUNNING)
    time.sleep(1.0)
    served.stop()
    (take,) = JobFolder.open(served.root / "NightFerry").job.takes
    assert take.frames >= 48000
    assert list(served.root.glob("NightFerry/takes/rolling_*")) == []


def test_a_desk_that_is_killed_keeps_the_take_all_the_same(simulated):
    served = simulated(speed=1.0, own=True)
    served.call("POST", f"{JOB}/recording/take", {})
    until(served, RUNNING)
    time.sleep(1.0)
    served.process.kill()
    end = time.monotonic() + 20.0
    while not JobFolder.open(served.root / "NightFerry").job.takes:
        assert time.monotonic() < end
        time.sleep(0.1)


def test_what_was_cut_off_is_found_and_put_into_the_job(simulated):
    served = simulated()
    done(served, "take", {})
    root = served.root / "NightFerry"
    folder = JobFolder.open(root)
    facts = json.loads(folder.path("takes/take_01.json").read_text())["recording"] | {"process": 2**22 + 1}
    shutil.copy(folder.path("takes/take_01.wav"), folder.path("takes/rolling_02.wav"))
    folder.path("takes/rolling_02.json").write_text(json.dumps(facts))
    assert served.call("GET", f"{JOB}/recording")[1]["cut_off"] == 1
    sentences = served.call("POST", f"{JOB}/recording/recover", {})[1]["sentences"]
    assert any("program was cut off" in sentence for sentence in sentences)
    assert served.call("GET", f"{JOB}/recording")[1]["cut_off"] == 0
    assert [take.number for take in JobFolder.open(root).job.takes] == [1, 2]


def test_what_is_covered_follows_the_takes_and_their_marks(simulated):
    served = simulated()
    first = served.call("GET", f"{JOB}/recording")[1]["cover"]
    assert (first["sentence"], len(first["phrases"])) == ("Nothing is recorded yet.", 2)
    done(served, "take", {})
    done(served, "take", {"bars": [2, 3]})
    cover = served.call("GET", f"{JOB}/recording")[1]["cover"]
    assert [take["cells"] for take in cover["takes"]] == [["played", "played"], ["played", "part"]]
    assert [phrase["usable"] for phrase in cover["phrases"]] == [2, 1]
    assert cover["sentence"] == "Too few so far: bars 5-6 (one)."
    status, marked = served.call("POST", f"{JOB}/takes/1/mark", {"mark": "noise"})
    assert status == 200
    assert [phrase["usable"] for phrase in marked["phrases"]] == [1, 0]
    assert served.call("POST", f"{JOB}/takes/9/mark", {"mark": "good"})[0] == 422


def test_the_ready_check_says_one_thing(simulated):
    """The device hears nothing but what is played to it, which is silence while the check goes on."""
    outcome = done(simulated(), "check", {"seconds": 3.0})
    assert outcome["check"]["ready"] is False
    assert outcome["sentences"] == [outcome["check"]["sentence"]]
    assert outcome["sentences"][0].startswith("Nothing comes in")


def test_a_guide_that_was_not_listened_to_is_not_recorded_to(simulated):
    served = simulated()
    findings = served.root / "NightFerry" / "guide" / "findings.json"
    findings.unlink()
    assert served.call("GET", f"{JOB}/recording")[0] == 409
    assert served.call("POST", f"{JOB}/recording/take", {})[0] == 409
    assert not findings.exists()


def test_a_check_is_stopped_on_request(simulated):
    served = simulated(speed=1.0)
    served.call("POST", f"{JOB}/recording/check", {"seconds": 60.0})
    until(served, {"checking"})
    served.call("POST", "/api/recording/stop", {})
    assert until(served, {"idle"}, 5.0)["outcome"]["sentences"] == ["Stopped."]


def test_settings_are_kept_and_bad_ones_refused(simulated):
    served = simulated()
    kept = served.call("PATCH", "/api/recording/settings", {"place": "kitchen", "levels": {"self_db": -3.0}})[1]
    assert (kept["place"], kept["levels"]["self_db"], kept["device"]) == ("kitchen", -3.0, "simulated")
    assert served.call("PATCH", "/api/recording/settings", {"headphones": "loud"})[0] == 422
    assert served.call("PATCH", "/api/recording/settings", {"inputs": 0})[0] == 422
    assert served.call("PATCH", "/api/recording/settings", {"gain_note": None})[1]["gain_note"] == ""
    done(served, "take", {})
    facts = json.loads((served.root / "NightFerry/takes/take_01.json").read_text())["recording"]
    assert facts["place"] == "kitchen"
    names = [device["name"] for device in served.call("GET", "/api/recording/devices")[1]]
    assert names == ["simulated", "simulated bluetooth"]
    served.call("PATCH", "/api/recording/settings", {"device": "simulated bluetooth"})
    assert "wireless" in done(served, "take", {})["sentences"][0]
    assert done(served, "take", {"anyway": True})["kind"] == "take"
