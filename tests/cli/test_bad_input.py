"""Every command given what cannot be used: one sentence, exit status 2, no traceback, and the job unharmed."""

import hashlib
import struct

import mido
import numpy as np
import pytest
import soundfile

from obbligato.job.intake import new_job
from obbligato.job.model import Brief

SR = 22050


def tone(seconds=3.0):
    t = np.arange(int(SR * seconds)) / SR
    return (0.3 * np.sin(2 * np.pi * 220 * t) * (np.sin(2 * np.pi * 2 * t) > 0)).astype(np.float32)


def write_line(path):
    file = mido.MidiFile()
    track = mido.MidiTrack()
    for pitch in (60, 62, 64):
        track.append(mido.Message("note_on", note=pitch, velocity=80, time=0))
        track.append(mido.Message("note_off", note=pitch, velocity=0, time=240))
    file.tracks.append(track)
    file.save(path)


@pytest.fixture(scope="module")
def things(tmp_path_factory):
    """Bad files of each kind, and good ones to go with them."""
    folder = tmp_path_factory.mktemp("things")
    soundfile.write(folder / "good.wav", tone(), SR, subtype="PCM_24")
    write_line(folder / "good.mid")
    (folder / "text.wav").write_text("This is a shopping list, not a song.\n" * 50)
    (folder / "text.mid").write_text("This is a shopping list, not a line.\n" * 50)
    (folder / "empty.wav").write_bytes(b"")
    (folder / "empty.mid").write_bytes(b"")
    (folder / "truncated.wav").write_bytes((folder / "good.wav").read_bytes()[:40_000])
    (folder / "silent.mid").write_bytes(
        b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480) + b"MTrk" + struct.pack(">I", 4) + b"\x00\xff\x2f\x00"
    )
    (folder / "reply.txt").write_text("Sounds great, thanks!\n")
    (folder / "not a job").mkdir()
    return folder


@pytest.fixture(scope="module")
def job(things, tmp_path_factory):
    root = tmp_path_factory.mktemp("jobs") / "job"
    new_job(root, guide=things / "good.wav", instrument="flugelhorn", brief=Brief(title="Good"))
    return root


def contents(folder):
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and ".cache" not in path.parts
    }


def assert_refused(result):
    assert result.returncode == 2, result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    message = result.stderr.strip()
    assert message and len(message.splitlines()) == 1, message
    assert message[-1] in ".?" or "obbligato " in message, message


BAD_SOUND = ["missing.wav", "text.wav", "empty.wav", "truncated.wav", "not a job"]
BAD_MIDI = ["missing.mid", "text.mid", "empty.mid", "silent.mid", "good.wav"]


@pytest.mark.parametrize("name", BAD_SOUND)
def test_sound_that_cannot_be_read(obbligato, things, job, tmp_path, name):
    bad, good = things / name, things / "good.wav"
    before = contents(job)
    assert_refused(obbligato("listen", bad, "--json"))
    assert_refused(obbligato("new", tmp_path / "job", "--guide", bad, "--instrument", "flute"))
    assert_refused(obbligato("takes", job, "add", good, bad))
    assert_refused(obbligato("assess", "--line", things / "good.mid", "--guide", good, bad))
    assert list(tmp_path.iterdir()) == []
    assert contents(job) == before


@pytest.mark.parametrize("name", BAD_MIDI)
def test_midi_that_cannot_be_read(obbligato, things, job, name):
    before = contents(job)
    assert_refused(obbligato("line", job, things / name))
    assert_refused(obbligato("assess", "--line", things / name, "--guide", things / "good.wav", things / "good.wav"))
    assert contents(job) == before


def test_an_unknown_instrument_is_answered_with_known_ones(obbligato, things, tmp_path):
    result = obbligato("new", tmp_path / "job", "--guide", things / "good.wav", "--instrument", "flugelhorm")
    assert_refused(result)
    assert "lugelhorn" in result.stderr
    assert list(tmp_path.iterdir()) == []


COMMANDS_ON_A_JOB = [
    ("map",),
    ("line", "good.mid"),
    ("check",),
    ("mockup",),
    ("review",),
    ("reply", "reply.txt"),
    ("part",),
    ("click",),
    ("takes",),
    ("choose",),
    ("deliver",),
    ("account",),
    ("status",),
]


@pytest.mark.parametrize("command", COMMANDS_ON_A_JOB, ids=lambda command: command[0])
@pytest.mark.parametrize("folder", ["missing", "not a job"])
def test_a_folder_that_is_no_job(obbligato, things, command, folder):
    name, *rest = command
    assert_refused(obbligato(name, things / folder, *(things / file for file in rest)))


WRITING = [
    ("line", "good.mid"),
    ("mockup",),
    ("review",),
    ("reply", "reply.txt"),
    ("part",),
    ("click",),
    ("takes", "add", "good.wav"),
    ("choose",),
    ("deliver",),
    ("map", "--bpm", "100"),
]


@pytest.mark.parametrize("command", WRITING, ids=lambda command: command[0])
def test_a_write_protected_job_is_refused_and_unharmed(obbligato, things, job, command):
    name, *rest = command
    before = contents(job)
    job.chmod(0o555)
    try:
        arguments = [things / word if "." in word else word for word in rest]
        assert_refused(obbligato(name, job, *arguments))
    finally:
        job.chmod(0o755)
    assert contents(job) == before


def test_commands_out_of_order_say_what_comes_first(obbligato, job):
    result = obbligato("mockup", job)
    assert_refused(result)
    assert "obbligato line" in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("nonsense",),
        ("new",),
        ("map", "JOB", "--bpm", "fast"),
        ("map", "JOB", "--bpm", "-3"),
        ("map", "JOB", "--meter", "4/5"),
        ("map", "JOB", "--bar-1", "soon"),
        ("map", "JOB", "--key", "H-ish"),
        ("choose", "JOB", "--phrase", "4"),
        ("account", "JOB", "--add", "takes"),
        ("takes", "JOB", "add"),
        ("takes", "JOB", "eat"),
    ],
    ids=" ".join,
)
def test_bad_usage(obbligato, job, arguments):
    before = contents(job)
    assert_refused(obbligato(*(job if word == "JOB" else word for word in arguments)))
    assert {k: v for k, v in contents(job).items() if k in before} == {
        **before,
        "history.jsonl": contents(job)["history.jsonl"],
    }
