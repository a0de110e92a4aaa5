"""A folder of small jobs, and the desk served for it as a player starts it."""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

import players
from obbligato.job.account import add_minutes
from obbligato.job.approval import enter_reply, make_review
from obbligato.job.choosing import render
from obbligato.job.delivery import deliver
from obbligato.job.hearing import make_click
from obbligato.job.intake import new_job
from obbligato.job.mapping import FINDINGS, LISTENER, song_map_to_json
from obbligato.job.model import Brief
from obbligato.job.paper import make_part
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.job.timing import timed_line
from obbligato.job.writing import add_line, current_line
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan, KeySpan, Opening, SectionSpan, Span
from obbligato.page.review_reply import SectionReply, reply_text
from obbligato.sound.facts import SourceFacts
from obbligato.sound.files import write_wav

SR = 48000


def clicks(seconds, bpm=100.0, sr=SR):
    """A metronome with an accent every fourth beat: enough of a song for the desk to take in."""
    y = np.zeros(round(seconds * sr), np.float32)
    burst = np.sin(2 * np.pi * 880 * np.arange(2400) / sr) * np.exp(-np.arange(2400) / 480)
    for beat in range(int(seconds * bpm / 60)):
        start = round(beat * 60 / bpm * sr)
        end = min(start + burst.size, y.size)
        y[start:end] += (0.6 if beat % 4 == 0 else 0.3) * burst[: end - start]
    return y


@pytest.fixture(scope="session")
def guide_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("guide") / "Night Ferry.wav"
    soundfile.write(path, clicks(16.0), SR, subtype="PCM_24")
    return path


@pytest.fixture
def jobs_folder(tmp_path, guide_file):
    """A folder with one job in it, not listened to yet, and things beside it that are none."""
    root = tmp_path / "jobs"
    root.mkdir()
    brief = Brief(title="Night Ferry", client="Wickerlight")
    new_job(root / "NightFerry", guide=guide_file, instrument="flugelhorn", brief=brief)
    (root / "notes.txt").write_text("not a job")
    (tmp_path / "outside.txt").write_text("secret")
    return root


@dataclass
class Served:
    """A desk running in a process of its own."""

    root: Path
    port: int
    token: str
    process: subprocess.Popen

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}/#token={self.token}"

    def call(self, method, path, body=None, **headers):
        """Status and body (JSON where it is) of one request, with the token unless `Authorization` is given."""
        data = json.dumps(body).encode() if body is not None and not isinstance(body, bytes) else body
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", data=data, method=method)
        request.add_header("Authorization", f"Bearer {self.token}")
        if data is not None:
            request.add_header("Content-Type", "application/json")
        for name, value in headers.items():
            request.add_header(name.replace("_", "-"), value)
        try:
            with urllib.request.urlopen(request, timeout=30) as response:
                return response.status, _read(response)
        except urllib.error.HTTPError as error:
            return error.code, _read(error)

    def stop(self):
        self.process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(10)
        self.process.kill()
        self.process.communicate()


def _read(response):
    data = response.read()
    return json.loads(data) if response.headers.get_content_type() == "application/json" else data


def start_desk(root, port=None, *, simulated=None, settings=None):
    """Run `obbligato desk` and wait for the address it prints; by default on a port that no other test takes over.

    `simulated` gives it a device made by code (see `simulated_desk.py`); `settings` is where it keeps the user's.
    """
    if port is None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "obbligato",
        "desk",
        str(root),
        "--no-browser",
        "--port",
        str(port),
    ]
    if simulated is not None:
        script = str(Path(__file__).with_name("simulated_desk.py"))
        command = [sys.executable, script, str(root), str(port), json.dumps(simulated)]
    kept = {"XDG_CONFIG_HOME": str(settings or Path(root).parent / "settings")}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ | kept
    )
    line = process.stdout.readline()
    assert "#token=" in line, process.stderr.read()
    address, token = line.split()[-1].split("/#token=")
    return Served(Path(root), int(address.rpartition(":")[2]), token, process)


@pytest.fixture(scope="session")
def serve():
    """Start a desk on a folder (and a port); it ends with the test session, unless stopped before."""
    started = []

    def start(root, port=None, **options):
        started.append(start_desk(root, port, **options))
        return started[-1]

    yield start
    for served in started:
        served.stop()


@pytest.fixture(scope="session")
def shared_desk(tmp_path_factory, serve):
    """The desk of all tests of a process that need none of their own; each lays its own jobs into it."""
    return serve(tmp_path_factory.mktemp("shared") / "jobs")


def removed(folder, within_s=20.0):
    """Remove a job's folder, again while a request of a page just closed still writes into it."""
    until = time.monotonic() + within_s
    while folder.exists():
        try:
            shutil.rmtree(folder)
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


@pytest.fixture
def desk_with(shared_desk):
    """A function that gives the desk with copies of these jobs in its folder, and no others."""

    def laid(*jobs):
        for task in shared_desk.call("GET", "/api/tasks")[1]:
            if task["state"] in {"waiting", "running"}:
                shared_desk.call("POST", f"/api/tasks/{task['id']}/cancel")
        for before in shared_desk.root.iterdir():
            removed(before)
        for job in jobs:
            shutil.copytree(job, shared_desk.root / job.name)
        return shared_desk

    return laid


@pytest.fixture
def desk(jobs_folder, desk_with):
    return desk_with(jobs_folder / "NightFerry")


@pytest.fixture(scope="module")
def kept_desk(tmp_path_factory, guide_file, serve):
    """One desk for all tests of a module that change nothing that matters to each other."""
    root = tmp_path_factory.mktemp("kept") / "jobs"
    root.mkdir()
    brief = Brief(title="Night Ferry", client="Wickerlight")
    new_job(root / "NightFerry", guide=guide_file, instrument="flugelhorn", brief=brief)
    (root.parent / "outside.txt").write_text("secret")
    served = serve(root)
    yield served
    served.stop()


MAPPED_BPM, MAPPED_BAR_S = 100.0, 2.4


def write_findings(folder):
    """Put a made-up song map where listening would leave its own: six bars whose content is plain."""
    bar = MAPPED_BAR_S
    grid = Grid.steady(MAPPED_BPM, 0.0, Meter())
    facts = SourceFacts(
        path=folder.job.guide.received, sha256=folder.job.guide.sha256, container="wav", codec="pcm", sample_rate=SR,
        channels=1, bit_depth=24, duration_s=16.0, frames=16 * SR, lead_silence_s=0.0, encoder_delay_samples=None,
        integrated_lufs=-14.0, true_peak_dbtp=-1.0, clipped_samples=0, warnings=(),
    )  # fmt: skip
    labels = ("C:maj", "A:min7", "F:maj", "G:7", "C:maj", "C:maj")
    song = SongMap(
        source=facts,
        tempo=Tempo(MAPPED_BPM, True, 0.9, 5.0, 0.0, (200.0, 50.0), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=None,
        grid=GridFinding(0.0, tuple(grid.beat_to_sec(range(24)).tolist()), tuple(bar * i for i in range(6))),
        tuning=Tuning(440.0, 0.0),
        keys=(KeySpan(0.0, 16.0, "C", "major", 0.3),),
        chords=tuple(ChordSpan(bar * i, bar * (i + 1), label) for i, label in enumerate(labels)),
        sections=(SectionSpan(0.0, 3 * bar, "A"), SectionSpan(3 * bar, 6 * bar, "B")),
        voice=(Span(0.0, 1.5 * bar), Span(3 * bar, 4 * bar)),
        openings=(
            Opening(1.5 * bar, 3 * bar, 2, 3, beats=6.0, kind="fill"),
            Opening(4 * bar, 6 * bar, 5, 6, beats=8.0, kind="feature"),
        ),
    )
    stamp = {"guide_sha256": folder.job.guide.sha256, "listener": LISTENER}
    folder.path(FINDINGS).write_text(json.dumps({**stamp, "findings": song_map_to_json(song)}))


def write_line(path, notes):
    """A MIDI file of notes given as (beat, beats, pitch), at the tempo of the made-up map."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(MAPPED_BPM)))
    events = [(beat, "note_on", pitch) for beat, _, pitch in notes]
    events += [(beat + beats, "note_off", pitch) for beat, beats, pitch in notes]
    now = 0
    for beat, kind, pitch in sorted(events):
        tick = round(480 * beat)
        track.append(mido.Message(kind, note=pitch, velocity=80 if kind == "note_on" else 0, time=tick - now))
        now = tick
    file.save(path)


MAPPED_LINE = [(6, 1, 65), (7, 0.5, 67), (7.5, 0.5, 69), (8, 2, 70), (10, 1.5, 67), (16, 4, 72), (20, 3.5, 60)]
"""The notes of the mapped jobs' line: beat, beats, sounding pitch."""


@pytest.fixture
def mapped_jobs(jobs_folder, tmp_path):
    """The folder of jobs, its one job mapped (made up, see `write_findings`) and with a line of seven notes."""
    folder = JobFolder.open(jobs_folder / "NightFerry")
    write_findings(folder)
    write_line(tmp_path / "line.mid", MAPPED_LINE)
    add_line(folder, tmp_path / "line.mid", start="guide")
    return jobs_folder


@pytest.fixture
def mapped_desk(mapped_jobs, desk_with):
    return desk_with(mapped_jobs / "NightFerry")


@pytest.fixture(scope="session")
def finished_job(tmp_path_factory, guide_file):
    """A job in which everything was done once: sent and answered, engraved, three takes chosen from, delivered."""
    base = tmp_path_factory.mktemp("finished")
    brief = Brief(title="Night Ferry", client="Wickerlight", fee=180.0, currency="EUR")
    folder = new_job(base / "NightFerry", guide=guide_file, instrument="flugelhorn", brief=brief)
    write_findings(folder)
    write_line(base / "line.mid", MAPPED_LINE)
    placed = add_line(folder, base / "line.mid", start="guide")
    round_ = make_review(folder)
    answers = (SectionReply("A", "yes", ""), SectionReply("B", "change", "[bar 5, 0:09.6] softer here"))
    about = {"title": brief.title, "version": placed.version.version, "fingerprint": round_.fingerprint}
    enter_reply(folder, reply_text(**about, name="Ida Moll", answers=answers))
    make_part(folder)
    make_click(folder)
    _play_takes(folder, base)
    render(folder)
    deliver(folder, without_yes=True)
    add_minutes(folder, "takes", 40, "two evenings")
    return folder.root


def _play_takes(folder, base):
    rng = np.random.default_rng(8)
    line = timed_line(current_line(folder).line, Grid.steady(MAPPED_BPM, 0.0, Meter()))
    files = []
    for number, how in enumerate(
        (players.Playing(wrong={1: 0}), players.Playing(missed={0: 1}), players.Playing()), 1
    ):
        files.append(base / f"take {number}.wav")
        write_wav(files[-1], players.play(line, how, rng))
    add_takes(folder, tuple(files))


@pytest.fixture
def finished_desk(finished_job, desk_with):
    return desk_with(finished_job)


@pytest.fixture
def open_page(chromium):
    """Open an address in a browser of its own; what went wrong in a page's script fails the test."""
    contexts, errors = [], []

    def opened(address, **options):
        context = chromium.new_context(**{"viewport": {"width": 1280, "height": 900}, "locale": "en-GB", **options})
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert errors == []
