"""The whole job on the invented song, from the dropped guide to the proved pack, by clicking in a real browser."""

import json
import re
import zipfile

import numpy as np
import pytest
import soundfile

from obbligato.demo.making import make_song
from obbligato.job.store import JobFolder

pytestmark = [pytest.mark.browser, pytest.mark.slow]

LONG_MS = 120_000
TITLE = "The Ferry Keeps No Clock"


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    return make_song(tmp_path_factory.mktemp("song") / "song")


def go(page, stage):
    page.get_by_role("navigation").get_by_role("link", name=re.compile(rf"^{stage}")).click()
    page.get_by_role("region", name=stage, exact=True).wait_for()


def test_from_the_guide_to_the_proved_pack(open_page, serve, song, tmp_path):
    served = serve(tmp_path / "jobs")
    page = open_page(served.address)
    _take_in(page, song)
    job = JobFolder.open(tmp_path / "jobs" / "TheFerryKeepsNoClock")
    _read_the_map(page, song)
    _write(page, song)
    _agree(page, tmp_path)
    _make_the_page(page)
    _choose(page, song)
    _deliver(page, tmp_path)
    _account(page)
    _prove(JobFolder.open(job.root), song, tmp_path)


def _take_in(page, song):
    page.get_by_label("Choose a guide").set_input_files(song.guide_wav)
    page.get_by_label("Title of the song").fill(TITLE)
    page.get_by_label("Instrument").select_option(label="Flugelhorn in B♭")
    page.get_by_label("Who ordered it").fill("Wickerlight Kitchen Recordings")
    page.get_by_label("Fee", exact=True).fill("180")
    page.get_by_role("button", name="Start the job").click()
    page.get_by_role("heading", name=TITLE).wait_for(timeout=LONG_MS)


def _read_the_map(page, song):
    page.get_by_text(re.compile(r"^Tempo: 58\.6")).wait_for(timeout=LONG_MS)
    page.get_by_text(re.compile(r"^Metre: 12/8")).wait_for(timeout=LONG_MS)
    page.get_by_text(re.compile(r"^Key: E♭ major, then F major from bar 39")).wait_for(timeout=LONG_MS)
    page.get_by_text(re.compile(r"^The singer leaves")).wait_for(timeout=LONG_MS)


def _write(page, song):
    go(page, "Line")
    page.get_by_label("Choose a MIDI file").set_input_files(song.line_mid)
    page.get_by_text(re.compile(r"^It is version 1\.")).wait_for(timeout=LONG_MS)
    page.get_by_role("button", name="Check it").click()
    page.get_by_text(re.compile(r"remarks?, none of them serious")).wait_for(timeout=LONG_MS)
    page.get_by_role("button", name="Make the mock-up").click()
    page.get_by_role("link", name="blend.mp3").wait_for(timeout=LONG_MS)


def _agree(page, tmp_path):
    """The client's part is played in the client's page itself, opened from the file that they would be sent."""
    go(page, "Client")
    page.get_by_role("button", name="Make the client's page").click()
    with page.expect_download(timeout=LONG_MS) as review:
        page.get_by_role("link", name="Download it").click(timeout=LONG_MS)
    review.value.save_as(tmp_path / "review.html")
    client = page.context.new_page()
    client.goto((tmp_path / "review.html").as_uri())
    for choice in client.get_by_role("radio", name=re.compile("^Yes", re.IGNORECASE)).all():
        choice.check()
    client.get_by_label(re.compile("name", re.IGNORECASE)).first.fill("Maro Vellinge")
    with client.expect_download() as reply:
        client.get_by_role("button", name=re.compile("save", re.IGNORECASE)).first.click()
    reply.value.save_as(tmp_path / "reply.txt")
    client.close()
    page.get_by_label("Choose the answer").set_input_files(tmp_path / "reply.txt")
    page.get_by_text(re.compile("said yes", re.IGNORECASE)).first.wait_for(timeout=LONG_MS)


def _make_the_page(page):
    go(page, "Page")
    page.get_by_role("button", name="Engrave the part").click()
    page.get_by_role("link", name="part_A4.pdf").wait_for(timeout=LONG_MS)
    page.get_by_role("button", name="Make click and mix").click()
    page.get_by_role("link", name="headphones.wav").wait_for(timeout=LONG_MS)


def _choose(page, song):
    go(page, "Takes")
    page.get_by_label("Choose files").set_input_files(song.takes)
    page.get_by_role("button", name="Read and choose").click(timeout=LONG_MS)
    page.get_by_text(re.compile("two or more usable versions")).wait_for(timeout=LONG_MS)
    page.get_by_text("The comp is rendered as chosen here.").wait_for(timeout=LONG_MS)


def _deliver(page, tmp_path):
    go(page, "Delivery")
    page.get_by_role("button", name="Write and prove the pack").click()
    with page.expect_download(timeout=LONG_MS) as pack:
        page.get_by_role("link", name=re.compile("^Take the pack")).click(timeout=LONG_MS)
    pack.value.save_as(tmp_path / "pack.zip")
    assert page.get_by_text("Not in order:").count() == 0


def _account(page):
    go(page, "Account")
    page.get_by_role("button", name="Write the statement").click()
    page.get_by_role("link", name=re.compile("statement_01")).wait_for(timeout=LONG_MS)


def _prove(job, song, tmp_path):
    """What the client opens, read by other libraries: the stem is as long as the guide, and the mix is their sum."""
    with zipfile.ZipFile(tmp_path / "pack.zip") as pack:
        pack.extractall(tmp_path / "pack")
    wavs = sorted((tmp_path / "pack").rglob("*.wav"))
    stem, context = (soundfile.read(path, always_2d=True)[0] for path in wavs[:2])
    guide = soundfile.read(song.guide_wav, always_2d=True)[0]
    assert len(stem) == len(guide) == len(context)
    residual = context - guide * _gain(context, guide, stem) - stem * _gain(context, guide, stem)
    assert np.abs(residual).max() < 2.0**-22
    assert [made.stage for made in job.job.made if made.stage == "deliver"] == ["deliver"]
    assert job.job.rounds[0].replied_by == "Maro Vellinge"
    clean = json.loads(song.truth_json.read_text())["clean_takes"]
    choice = json.loads((job.path(job.job.last_made("choose").folder) / "choice.json").read_text())["choice"]
    chosen = {one["phrase"]: int(re.search(r"take_(\d+)", one["take"])[1]) for one in choice}
    names = [path.stem for path in song.takes]
    assert all(names[chosen[phrase] - 1] in good for phrase, good in enumerate(clean) if good)


def _gain(mix, guide, stem):
    """The one factor by which the mix was turned down as a whole, by least squares."""
    sum_ = guide + stem
    return float((mix * sum_).sum() / (sum_ * sum_).sum())
