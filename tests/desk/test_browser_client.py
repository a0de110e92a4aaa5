"""In a real browser: a job started from a guide that is dropped, and a whole round with the client."""

import json
import re
import shutil

import mido
import pytest
import soundfile

from obbligato.job.account import account
from obbligato.job.mapping import FINDINGS, LISTENER, song_map_to_json
from obbligato.job.store import JobFolder
from obbligato.job.writing import add_line
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.spans import ChordSpan, SectionSpan
from obbligato.sound.facts import SourceFacts

BEAT_S, BAR_S = 0.6, 2.4
"""The guide of the fixtures: 100 beats a minute from the first sample on, in fours."""

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser(chromium):
    return chromium


@pytest.fixture
def page(browser):
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB", accept_downloads=True)
    errors = []
    opened = context.new_page()
    opened.on("pageerror", lambda error: errors.append(str(error)))
    yield opened
    context.close()
    assert errors == []


@pytest.fixture
def written_job(jobs_folder):
    """A job whose map and line were written by hand, so that nothing has to be listened to."""
    folder = JobFolder.open(jobs_folder / "NightFerry")
    sha256, end_s = folder.job.guide.sha256, 16.0
    song = SongMap(
        source=SourceFacts(
            folder.job.guide.received,
            sha256,
            "WAV",
            "PCM_24",
            48000,
            1,
            24,
            end_s,
            768000,
            0.0,
            None,
            -20.0,
            -4.0,
            0,
            (),
        ),
        tempo=Tempo(100.0, True, 0.95, 5.0, 0.0, (), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=None,
        grid=GridFinding(0.0, tuple(BEAT_S * i for i in range(26)), tuple(BAR_S * i for i in range(7))),
        tuning=Tuning(440.0, 0.0),
        keys=(),
        chords=(ChordSpan(0.0, end_s, "C:maj"),),
        sections=(
            SectionSpan(0.0, 2 * BAR_S, "A"),
            SectionSpan(2 * BAR_S, 4 * BAR_S, "B"),
            SectionSpan(4 * BAR_S, end_s, "C"),
        ),
        voice=(),
        openings=(),
    )
    document = {"guide_sha256": sha256, "listener": LISTENER, "findings": song_map_to_json(song)}
    folder.path(FINDINGS).write_text(json.dumps(document))
    midi, track = mido.MidiFile(ticks_per_beat=480), mido.MidiTrack()
    midi.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=600_000))
    for wait_beats in (1, 8):
        track.append(mido.Message("note_on", note=67, velocity=80, time=wait_beats * 480))
        track.append(mido.Message("note_off", note=67, time=480))
    file = jobs_folder.parent / "line.mid"
    midi.save(file)
    add_line(folder, file, start="guide")
    return folder


def test_a_job_is_started_from_a_guide(page, desk_with, tmp_path, guide_file):
    served = desk_with()
    before = {task["id"] for task in served.call("GET", "/api/tasks")[1]}
    page.goto(served.address)
    page.get_by_role("heading", name="No jobs yet").wait_for()
    voice = tmp_path / "Night Ferry, voice.wav"
    y, sr = soundfile.read(guide_file)
    soundfile.write(voice, 0.5 * y, sr)
    page.get_by_label("Choose a guide").set_input_files([voice, guide_file])
    page.get_by_role("heading", name="A new job").wait_for()
    assert page.get_by_label("Title of the song").input_value() == "Night Ferry"
    page.get_by_role("heading", name="Still open with the client: 11").wait_for()
    page.get_by_label("The one person who says yes").fill("Ida Moll")
    page.get_by_role("heading", name="Still open with the client: 10").wait_for()
    page.get_by_label("Fee", exact=True).fill("much")
    page.get_by_role("button", name="Start the job").click()
    page.get_by_text("Choose your instrument.").wait_for()
    page.get_by_text("Write a number.").wait_for()
    page.get_by_label("Fee", exact=True).fill("180,50")
    page.get_by_label("Instrument", exact=True).select_option("Flugelhorn in Bb")
    page.get_by_role("button", name="Start the job").click()
    page.wait_for_url("**/#/NightFerry/song")
    page.get_by_role("heading", name=re.compile("Night Ferry")).wait_for()
    job = JobFolder.open(served.root / "NightFerry").job
    assert (job.brief.approver, job.brief.fee, job.brief.rounds_included) == ("Ida Moll", 180.5, 2)
    assert (job.guide.received, job.guide.vocal) == (
        "guide/received/Night Ferry.wav",
        "guide/received/Night Ferry, voice.wav",
    )
    assert job.instrument == "Flugelhorn in Bb"
    begun = [task["what"] for task in served.call("GET", "/api/tasks")[1] if task["id"] not in before]
    assert "listening to the guide" in begun


def test_a_round_with_the_client(page, written_job, desk_with):
    served = desk_with(written_job.root)
    page.goto(served.address)
    page.get_by_role("link", name="Night Ferry").click()
    page.get_by_role("link", name=re.compile("^Client")).click()
    page.get_by_role("button", name="Make the client's page").click()
    with page.context.expect_page() as opening:
        page.get_by_role("link", name="Open the client's page").click(timeout=60_000)
    review = opening.value
    review.get_by_role("group", name=re.compile("Section A:")).get_by_text("yes").click()
    section_b = review.get_by_role("group", name=re.compile("Section B:"))
    section_b.get_by_text("change this").click()
    section_b.get_by_role("textbox").fill("[bar 4, 0:07.2] leave this one out")
    review.fill("#name", "Ida Moll")
    with review.expect_download() as saving:
        review.click("#save")
    answer = saving.value.path()

    page.bring_to_front()
    page.get_by_label("Choose the answer").set_input_files(answer)
    client = page.get_by_label("Client", exact=True)
    client.get_by_text("Ida Moll asks for changes in B.").wait_for()
    client.get_by_text("Rounds of changes: 1 used, 2 included in the fee.").wait_for()
    client.get_by_role("button", name="bars 3 to 4").wait_for()
    client.get_by_role("button", name="bar 4, 0:07.2").wait_for()
    client.get_by_text("Write version 2 of the line first").wait_for()
    assert account(JobFolder.open(served.root / "NightFerry")).rounds_used == 1


def test_what_is_no_answer_is_said_and_hours_are_kept(page, written_job, desk_with):
    served = desk_with(written_job.root)
    page.goto(served.address)
    page.get_by_role("link", name="Night Ferry").click()
    page.get_by_role("link", name=re.compile("^Account")).click()
    page.get_by_label("Minutes").fill("90")
    page.get_by_label("What it was").fill("warming up")
    page.get_by_role("button", name="Enter", exact=True).click()
    row = page.get_by_role("row", name=re.compile("recording"))
    row.get_by_text("1 h 30 min").wait_for()
    page.get_by_text("Entered by hand: 1").click()
    page.get_by_role("button", name="Take back").click()
    row.get_by_text("0 min", exact=True).wait_for()
    page.get_by_role("button", name="Write the statement").click()
    page.get_by_role("link", name="Open statement_01.pdf").wait_for(timeout=60_000)
    assert (served.root / "NightFerry" / "account" / "statement_01.pdf").read_bytes().startswith(b"%PDF")

    page.get_by_role("link", name=re.compile("^Delivery")).click()
    page.get_by_text("There is no take to deliver").wait_for()
    assert page.get_by_role("button", name="Write and prove the pack").is_disabled()


def test_a_pack_to_the_clients_order_and_then_only_what_changed(page, desk_with, finished_job, tmp_path):
    """Depth and pips are chosen on the page; a second pack holds what changed, with a list, and the log has both."""
    shutil.copytree(finished_job, tmp_path / "NightFerry")
    desk = desk_with(tmp_path / "NightFerry")
    page.goto(desk.address)
    page.goto(f"{desk.address.partition('#')[0]}#/NightFerry/delivery")
    page.get_by_label("Depth").select_option("16")
    page.get_by_label(re.compile("sync reference")).check()
    page.get_by_label(re.compile("all the same")).check()
    page.get_by_role("button", name="Write and prove another pack").click()
    page.get_by_role("heading", name="Delivery 2").wait_for(timeout=60_000)
    page.get_by_text("sample for sample at 16 bits").first.wait_for()
    page.get_by_text("SyncPips").first.wait_for()
    page.get_by_label("Depth").select_option("24")
    page.get_by_label(re.compile("Only the files that changed since delivery 2")).check()
    page.get_by_role("button", name="Write and prove another pack").click()
    page.get_by_role("heading", name="Delivery 3").wait_for(timeout=60_000)
    page.get_by_role("heading", name="What changed").wait_for()
    page.get_by_text("These stay good:").wait_for()
    page.get_by_text(re.compile("Delivery log")).click()
    assert page.locator(".log tbody tr").filter(has_text="delivery_03.zip").count() == 1
