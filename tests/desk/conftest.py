"""A folder of small jobs, and the desk served for it as a player starts it."""

import contextlib
import json
import subprocess
import sys
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from obbligato.job.intake import new_job
from obbligato.job.model import Brief

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


def start_desk(root, port=None):
    """Run `obbligato desk` and wait for the address it prints."""
    command = [
        sys.executable,
        "-m",
        "obbligato",
        "desk",
        str(root),
        "--no-browser",
        *(["--port", str(port)] if port else []),
    ]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    line = process.stdout.readline()
    assert "#token=" in line, process.stderr.read()
    address, token = line.split()[-1].split("/#token=")
    return Served(Path(root), int(address.rpartition(":")[2]), token, process)


@pytest.fixture(scope="session")
def serve():
    """Start a desk on a folder (and a port); it ends with the test session, unless stopped before."""
    started = []

    def start(root, port=None):
        started.append(start_desk(root, port))
        return started[-1]

    yield start
    for served in started:
        served.stop()


@pytest.fixture
def desk(jobs_folder, serve):
    served = serve(jobs_folder)
    yield served
    served.stop()


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
