"""The whole job on the invented song, as `obbligato demo` does it, and what a player does with the job afterwards."""

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import jsonschema
import mido
import music21
import numpy as np
import pytest
import soundfile
import wavinfo

from obbligato.demo.run import run_demo
from obbligato.errors import InputError, NotRightError
from obbligato.job.approval import make_review, receive_reply, unapproved_sections
from obbligato.job.choosing import choose
from obbligato.job.delivery import deliver, proved_pack
from obbligato.job.mapping import correct, findings, song_map
from obbligato.job.profiles import Profile
from obbligato.job.status import status
from obbligato.job.store import JobFolder
from obbligato.job.wishes import set_overrides
from obbligato.page.review import SectionReply, reply_text

SCHEMAS = Path(__file__).parent / "schemas"

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return run_demo(tmp_path_factory.mktemp("demo") / "demo")


@pytest.fixture
def job(demo, tmp_path):
    """A copy of the finished job, for tests that change it."""
    shutil.copytree(demo.job, tmp_path / "job")
    return JobFolder.open(tmp_path / "job")


def cli_json(*arguments):
    command = [sys.executable, "-m", "obbligato", *map(str, arguments), "--json"]
    result = subprocess.run(command, capture_output=True, text=True, check=False, timeout=300)
    assert result.returncode == 0, result.stderr
    return json.loads(result.stdout)


def test_everything_found_is_right(demo):
    """The song's truth is in its score: tempo, bar 1, keys, openings and faults were written, then rendered."""
    assert [row for row in demo.compared if not row.right] == []
    assert len(demo.compared) >= 14


def test_listen_follows_its_schema(demo):
    document = cli_json("listen", demo.song.guide_mp3_untagged)
    jsonschema.validate(document, json.loads((SCHEMAS / "listen.schema.json").read_text()))
    assert document["source"]["encoder_delay_samples"] == 1105
    assert document["tempo"]["bpm"] == pytest.approx(demo.song.truth["tempo"]["bpm"], abs=0.005)
    # The delay is left in the file, so that bar 1 comes 1105 samples after where the WAV has it.
    late_s = document["grid"]["bar_1_s"] - demo.song.truth["grid"]["bar_1_s"]
    assert late_s == pytest.approx(1105 / 48000, abs=0.010)


def test_assess_follows_its_schema(demo):
    guide, line, takes = demo.song.guide_wav, demo.song.line_mid, demo.song.takes[:2]
    document = cli_json("assess", "--line", line, "--guide", guide, "--instrument", "flugelhorn", *takes)
    jsonschema.validate(document, json.loads((SCHEMAS / "assess.schema.json").read_text()))
    assert {choice["take"] for choice in document["choice"]} <= {str(take) for take in takes}
    assert len(document["line"]["notes"]) == len(demo.song.truth["line"]["notes"])


def test_what_was_proved_is_kept_beside_the_pack_and_not_sent(demo):
    folder = JobFolder.open(demo.job)
    assert proved_pack(folder, folder.job.last_made("deliver")) == demo.pack
    assert not any("proof" in name for name in demo.pack.files)


def test_the_stem_as_other_readers_see_it(demo):
    """libsndfile for rate, length and depth; wavinfo for the bext chunk (EBU Tech 3285)."""
    stem = demo.job / demo.pack.folder / demo.pack.audio[0].name
    info, guide = soundfile.info(stem), soundfile.info(demo.song.guide_wav)
    assert (info.samplerate, info.frames) == (guide.samplerate, guide.frames)
    assert info.subtype == "PCM_24"
    bext = wavinfo.WavInfoReader(str(stem)).bext
    assert bext.time_reference == 0
    assert bext.version == 2
    assert bext.loudness_value == pytest.approx(demo.pack.audio[0].lufs, abs=0.02)
    assert bext.max_true_peak == pytest.approx(demo.pack.audio[0].true_peak_dbtp, abs=0.02)


def test_stem_and_guide_make_the_context_mix(demo):
    """Read with libsndfile; each of the three files is rounded to 24 bits."""
    folder = demo.job / demo.pack.folder
    guide, _ = soundfile.read(demo.song.guide_wav)
    stem, _ = soundfile.read(folder / demo.pack.audio[0].name)
    mix, _ = soundfile.read(folder / demo.pack.audio[1].name)
    total = guide + stem[:, None]
    gain = float(np.vdot(mix, total) / np.vdot(total, total))
    assert np.max(np.abs(mix - gain * total)) < 4 * 2.0**-23


def test_the_part_sounds_as_the_line(demo):
    """music21 reads the MusicXML back: sounding pitches are those of the MIDI file, whatever was written."""
    path = next((demo.job / demo.pack.folder).glob("*.musicxml"))
    part = music21.converter.parse(path).parts[0].toSoundingPitch()
    printed = [note.pitch.midi for note in part.stripTies().recurse().notes if isinstance(note, music21.note.Note)]
    played = [m.note for m in mido.MidiFile(demo.song.line_mid) if m.type == "note_on" and m.velocity > 0]
    assert printed == played


def test_the_zip_holds_the_pack(demo):
    with zipfile.ZipFile(demo.job / demo.pack.zip) as archive:
        assert archive.testzip() is None
        assert tuple(sorted(Path(name).name for name in archive.namelist())) == demo.pack.files


def test_nothing_in_the_job_names_this_machine(demo):
    texts = [path for path in demo.job.rglob("*") if path.suffix in (".json", ".txt", ".html", ".musicxml", ".jsonl")]
    assert texts
    folder = str(demo.job.parent)
    assert [path.name for path in texts if folder in path.read_text(encoding="utf-8")] == []


def test_a_second_delivery_stands_beside_the_first(job, demo):
    first = {path.name: path.stat().st_mtime_ns for path in job.path(demo.pack.folder).iterdir()}
    second = deliver(job, profile=Profile(treated=True))
    assert second.folder != demo.pack.folder
    assert {path.name: path.stat().st_mtime_ns for path in job.path(demo.pack.folder).iterdir()} == first
    assert len(second.audio) == 3


def test_a_correction_makes_what_hangs_on_it_stale_and_can_be_undone(job):
    heard = findings(job)
    correct(job, shift_beats=1.0)
    moved = song_map(job)
    assert moved.grid.bar_1_s == pytest.approx(heard.grid.bar_1_s + 60 / heard.tempo.bpm)
    assert {stage.stage for stage in status(job).stages if stage.state == "stale"} >= {"mockup", "part", "deliver"}
    assert findings(job) == heard
    correct(job, undo_all=True)
    assert song_map(job) == heard
    assert all(stage.state == "done" for stage in status(job).stages)


def test_the_players_choice_wins(job):
    before = {choice.phrase: choice.take for choice in choose(job).assessment.choice}
    other = next(take for take in job.job.takes if take.file != before[3])
    set_overrides(job, {4: other.number})
    after = {choice.phrase: choice.take for choice in choose(job).assessment.choice}
    assert after[3] == other.file
    with pytest.raises(InputError, match="no phrase 99"):
        set_overrides(job, {99: 1})
    with pytest.raises(InputError, match="no take 77"):
        set_overrides(job, {1: 77})


def test_what_the_client_refused_is_not_delivered(job):
    round_ = make_review(job)
    with pytest.raises(NotRightError, match="not said yes"):
        deliver(job)
    names = [answer.section for answer in job.job.rounds[0].answers]
    answers = [SectionReply(name, "yes") for name in names[1:]]
    reply = job.root.parent / "reply.txt"
    reply.write_text(
        reply_text(
            title="-",
            version=1,
            fingerprint=round_.fingerprint,
            name="Client",
            answers=(SectionReply(names[0], "change", "too busy"), *answers),
        )
    )
    receive_reply(job, reply)
    assert unapproved_sections(job, song_map(job)) == [f"section {names[0]}"]
    with pytest.raises(NotRightError, match=f"section {names[0]}"):
        deliver(job)
    with pytest.raises(InputError, match="answered already"):
        receive_reply(job, reply)
