"""A whole take recorded by clicking in a real browser: on a device made by code, and through a real stream."""

import json
import re
import shutil

import numpy as np
import pytest
import soundfile

from obbligato.job.store import JobFolder
from record.loopback import WHY_NOT, is_possible, loopback_server

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WAIT_MS = 30_000
BEAT_S = 0.6
"""The guide's own clicks: 100 a minute from its first sample."""


@pytest.fixture
def recording_desk(mapped_jobs, serve, tmp_path):
    def start(**options):
        return serve(mapped_jobs, settings=tmp_path / "settings", **options)

    return start


def go(page, served, view):
    page.goto(f"{served.address.partition('#')[0]}#/NightFerry/{view}")


def state_word(page, word, timeout=WAIT_MS):
    page.locator(".take-state", has_text=word).wait_for(timeout=timeout)


def takes_of(served):
    return JobFolder.open(served.root / "NightFerry").job.takes


def off_beat_ms(served, number):
    """By how much each click of the guide, as it was heard in a take, lies off its place on the guide's time."""
    folder = JobFolder.open(served.root / "NightFerry")
    take = next(take for take in folder.job.takes if take.number == number)
    y, sr = soundfile.read(folder.path(take.file))
    loud = np.abs(y) > 0.01
    off = []
    for beat in range(1, 25):
        first = round((beat * BEAT_S - 0.05 - take.starts_at_s) * sr)
        off.append(1000 * (int(np.argmax(loud[first : first + round(0.2 * sr)])) / sr - 0.05))
    return np.array(off)


def test_a_take_from_set_up_to_mark(open_page, recording_desk):
    served = recording_desk(simulated={"speed": 4.0})
    page = open_page(served.address)
    go(page, served, "record")
    page.get_by_label("Records", exact=True).select_option("simulated")
    page.get_by_label("Plays to the headphones").select_option("simulated")
    page.get_by_role("button", name="Measure it").click()
    page.get_by_text("Out and back takes 21.33 ms at 48000 Hz").wait_for(timeout=WAIT_MS)
    page.get_by_role("link", name="To the music, and record").click()
    page.locator(".take-music .staff").first.wait_for(state="attached")
    page.get_by_role("button", name="Record", exact=True).click()
    state_word(page, "Count-in")
    state_word(page, "Recording")
    page.locator(".take-bar", has_text=re.compile("[3-6]")).wait_for()
    state_word(page, "Stopped")
    page.get_by_text(re.compile("^Take 1: ")).wait_for()
    page.keyboard.press("g")
    page.get_by_role("button", name=re.compile("Good"), pressed=True).wait_for()
    assert JobFolder.open(served.root / "NightFerry").job.marks == {1: "good"}
    assert np.abs(off_beat_ms(served, 1)).max() < 2.0  # the rise of the burst itself, 880 Hz, to a hundredth
    page.get_by_text("Too few so far: bars 2-3, 5-6 (one).").wait_for()


def test_one_key_starts_stops_and_plays_it_again(open_page, recording_desk):
    served = recording_desk(simulated={"speed": 1.0})
    page = open_page(served.address)
    go(page, served, "take")
    page.locator(".take-music .staff").first.wait_for(state="attached")
    page.keyboard.press("Space")
    state_word(page, "Count-in")
    page.keyboard.press("PageUp")
    page.locator(".take-line", has_text="Take 2").wait_for(timeout=WAIT_MS)
    assert JobFolder.open(served.root / "NightFerry").job.marks == {1: "again"}
    page.keyboard.press("PageDown")
    state_word(page, "Ringing")
    page.get_by_role("button", name="Stop at once").click()
    state_word(page, "Stopped", 4_000)
    page.keyboard.press("Escape")
    page.wait_for_url("**/record")
    assert [take.number for take in takes_of(served)] == [1, 2]


def test_another_tab_sees_the_take_and_closing_the_first_does_not_stop_it(open_page, recording_desk):
    served = recording_desk(simulated={"speed": 1.0})
    first = open_page(served.address)
    go(first, served, "take")
    first.get_by_role("button", name="Record", exact=True).click()
    state_word(first, "Count-in")
    second = open_page(served.address)
    go(second, served, "song")
    second.get_by_text("Take 1 of Night Ferry is being recorded").wait_for()
    first.close()
    second.get_by_role("link", name="To the take").click()
    state_word(second, "Recording")
    second.get_by_role("button", name="Stop", exact=True).click()
    state_word(second, "Stopped")
    assert len(takes_of(served)) == 1


def test_lost_sound_and_a_lost_device_are_said_while_and_after(open_page, recording_desk):
    """Block 1400 of 256 frames lies in bar 1; the device is gone later. The screen has room for two rows."""
    served = recording_desk(simulated={"speed": 1.0, "faults": {"lost": [[1400, 512]], "gone_at_block": 2000}})
    page = open_page(served.address, viewport={"width": 1280, "height": 1400})
    go(page, served, "take")
    page.get_by_role("button", name="Record", exact=True).click()
    page.locator(".take-lost").first.wait_for(state="attached")
    page.locator(".take-line", has_text="Bar 1 beat 4: 10.7 ms were lost").wait_for()
    state_word(page, "Lost sound")
    state_word(page, "Broke off")
    page.get_by_text("the device was gone or gave no more sound; all until then is kept").wait_for()


def test_bars_marked_on_the_chart_are_what_is_recorded(open_page, recording_desk):
    served = recording_desk(simulated={"speed": 8.0})
    page = open_page(served.address)
    go(page, served, "record")
    page.locator('.chart-bar[data-bar="5"]').click()
    page.keyboard.press("Shift+ArrowRight")
    page.get_by_text("Bars 5 to 6, with two bars before, one take.").wait_for()
    page.get_by_role("link", name="To the music, and record").click()
    page.get_by_role("button", name="Bars 5–6", pressed=True).wait_for()
    page.keyboard.press("Space")
    state_word(page, "Stopped")
    (take,) = takes_of(served)
    assert take.starts_at_s == pytest.approx(2 * 2.4 - 0.5, abs=0.05)


def test_what_was_cut_off_is_offered_at_the_next_start(open_page, recording_desk):
    served = recording_desk(simulated={"speed": 20.0})
    page = open_page(served.address)
    go(page, served, "take")
    page.get_by_role("button", name="Record", exact=True).click()
    state_word(page, "Stopped")
    takes = served.root / "NightFerry" / "takes"
    facts = json.loads((takes / "take_01.json").read_text())["recording"] | {"process": 2**22 + 1}
    shutil.copy(takes / "take_01.wav", takes / "rolling_02.wav")
    (takes / "rolling_02.json").write_text(json.dumps(facts))
    go(page, served, "record")
    page.get_by_role("button", name="Put it into the job").click()
    page.get_by_text("the program was cut off; all until then is kept").first.wait_for()
    assert [take.number for take in takes_of(served)] == [1, 2]


@pytest.mark.skipif(not is_possible(), reason=WHY_NOT)
def test_a_take_through_a_real_stream_lies_in_its_place(open_page, recording_desk):
    """PortAudio's output connected to its input by a JACK server without hardware; blocks of 512, because at 256 the
    server was seen to abort. A busy computer may make the server late, which the page then says."""
    with loopback_server(sr=48000, block=512):
        served = recording_desk(simulated={"loopback": True})
        try:
            page = open_page(served.address)
            go(page, served, "record")
            page.get_by_label("Records", exact=True).select_option("system")
            page.get_by_label("Plays to the headphones").select_option("system")
            page.get_by_role("button", name="Measure it").click()
            page.get_by_text(re.compile("Out and back takes .* as measured")).wait_for(timeout=2 * WAIT_MS)
            page.get_by_role("link", name="To the music, and record").click()
            page.locator(".take-music .staff").first.wait_for(state="attached")
            page.keyboard.press("Space")
            state_word(page, re.compile("Recording|Lost sound"), 2 * WAIT_MS)
            state_word(page, "Stopped", 2 * WAIT_MS)
        finally:
            served.stop()
    assert np.abs(off_beat_ms(served, 1)).max() < 2.0  # as above
