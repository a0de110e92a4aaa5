"""Deliveries of an invented job: profiles, proof, what other readers see, redelivery, log, archive."""

import json
import shutil
import subprocess
import zipfile
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
import wavinfo

import played_job
import players
from obbligato.errors import InputError, NotRightError
from obbligato.job.archive import archive_job
from obbligato.job.delivery import deliver, prove_again
from obbligato.job.delivery_log import delivery_log, log_text
from obbligato.job.model import Round
from obbligato.job.note import checks_in_short
from obbligato.job.profiles import Profile
from obbligato.job.proof import Check
from obbligato.job.store import JobFolder, now
from obbligato.job.wishes import set_overrides
from obbligato.sound.files import sha256_of

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A job of two takes, delivered once in full with all that there is."""
    rng = np.random.default_rng(31)
    line = players.invent_line(rng, phrases=3)
    takes = [players.play(line, players.Playing(), rng) for _ in range(2)]
    root = tmp_path_factory.mktemp("delivered") / "job"
    folder = played_job.make_job(root, line, takes)
    pack = deliver(folder, profile=Profile(treated=True, pips=True, also=(2,)))
    return folder, pack


@pytest.fixture
def job(made, tmp_path):
    shutil.copytree(made[0].root, tmp_path / "job")
    return JobFolder.open(tmp_path / "job")


def wavs(folder, pack):
    return sorted(folder.path(pack.folder).glob("*.wav"))


def test_everything_asked_for_is_there_from_one_start_at_one_length(made):
    folder, pack = made
    assert [facts.role.split(":")[0].split(",")[0] for facts in pack.audio] == [
        "the part",
        "the part",
        "take 2 whole",
        "sync reference",
        "guide plus file 02",
    ]
    guide = soundfile.info(folder.path(folder.job.guide.pcm))
    infos = [soundfile.info(path) for path in wavs(folder, pack)]
    assert {(info.samplerate, info.frames) for info in infos} == {(guide.samplerate, guide.frames)}
    assert all(check.ok for check in pack.checks)


def test_wavinfo_reads_every_bext_chunk(made):
    """EBU Tech 3285 version 2, as wavinfo reads it: loudness beside its own field, not just any field."""
    folder, pack = made
    by_name = {facts.name: facts for facts in pack.audio}
    for path in wavs(folder, pack):
        bext, facts = wavinfo.WavInfoReader(str(path)).bext, by_name[path.name]
        assert (bext.version, bext.time_reference) == (2, 0)
        assert bext.loudness_value == pytest.approx(facts.lufs, abs=0.011)
        assert bext.max_true_peak == pytest.approx(facts.true_peak_dbtp, abs=0.011)
        assert bext.max_momentary_loudness >= bext.max_shortterm_loudness
        assert bext.coding_history.startswith(f"A=PCM,F={facts.sample_rate},") and "T=" in bext.coding_history
        assert len(bext.originator_date) == 10 and len(bext.originator_time) == 8


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="ffprobe is not installed")
def test_ffprobe_reads_every_file(made):
    folder, pack = made
    for path in wavs(folder, pack):
        command = ["ffprobe", "-v", "error", "-show_streams", "-show_format", "-of", "json", str(path)]
        document = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)
        stream, tags = document["streams"][0], document["format"]["tags"]
        assert (stream["codec_name"], stream["sample_rate"]) == ("pcm_s24le", "48000")
        assert int(stream["duration_ts"]) == next(f.frames for f in pack.audio if f.name == path.name)
        assert int(tags["time_reference"]) == 0 and tags["coding_history"].startswith("A=PCM")


@pytest.mark.skipif(shutil.which("mediainfo") is None, reason="mediainfo is not installed")
def test_mediainfo_reads_every_file(made):
    folder, pack = made
    by_name = {facts.name: facts for facts in pack.audio}
    for path in wavs(folder, pack):
        report = subprocess.run(["mediainfo", "--Output=JSON", str(path)], capture_output=True, check=True).stdout
        general, sound = json.loads(report)["media"]["track"][:2]
        assert (sound["BitDepth"], sound["SamplingRate"]) == ("24", "48000")
        extra, facts = general["extra"], by_name[path.name]
        assert (extra["bext_Present"], extra["bext_Version"]) == ("Yes", "2")
        assert (float(sound["Delay"]), sound["Delay_Source"]) == (0.0, "Container (bext)")
        assert float(sound["extra"]["LoudnessValue"]) == pytest.approx(facts.lufs, abs=0.011)
        assert float(sound["extra"]["MaxTruePeakLevel"]) == pytest.approx(facts.true_peak_dbtp, abs=0.011)
        assert int(sound["SamplingCount"]) == facts.frames


def test_the_note_can_be_checked_without_ears(made):
    folder, pack = made
    note = next(folder.path(pack.folder).glob("*Note*.txt")).read_text()
    assert "first audible note at 0:04.4" in note and "bar 2 beat 1" in note  # where the line has it: 4.4 s
    assert "quiet for the last" in note and "not normalised" in note


def test_the_client_gets_the_rate_and_depth_asked_for(job):
    pack = deliver(job, profile=Profile(sample_rate=44100, bit_depth=16, channels="stereo"))
    info = soundfile.info(wavs(job, pack)[0])
    guide = soundfile.info(job.path(job.job.guide.pcm))
    assert (info.samplerate, info.channels, info.subtype) == (44100, 2, "PCM_16")
    assert info.frames == round(guide.frames * 44100 / guide.samplerate)
    history = wavinfo.WavInfoReader(str(wavs(job, pack)[0])).bext.coding_history
    assert "resampled from 48000 Hz" in history and "TPDF" in history and "W=16" in history
    error_db = float(history.split("error ")[1].split(" dB")[0])
    assert error_db < -90


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("{number}_{title}", "needs the field version"),
        ("{number} {title}_v{version}", "unsafe"),
        ("{number}_{song}_v{version}", "no field 'song'"),
        ("{number_v{version}", "brace"),
        ("{number:>99}_v{version}", "stand alone"),
    ],
)
def test_a_template_that_cannot_name_files_is_refused(job, template, said):
    with pytest.raises(InputError, match=said):
        deliver(job, profile=Profile(template=template))


def test_the_same_decisions_give_the_same_bytes(made, tmp_path):
    """Two copies of a job with one comp, delivered one after the other."""
    folder, _ = made
    zips = []
    for name in ("a", "b"):
        shutil.copytree(folder.root, tmp_path / name)
        zips.append(sha256_of(tmp_path / name / deliver(JobFolder.open(tmp_path / name)).zip))
    assert zips[0] == zips[1]


def test_a_pack_is_proved_again_and_a_changed_one_is_refused(job, made):
    _, pack = made
    assert all(check.ok for check in prove_again(job)[1])
    stem = job.path(pack.folder) / pack.audio[0].name
    content = bytearray(stem.read_bytes())
    content[-9000] ^= 1
    stem.write_bytes(bytes(content))
    said = [check.sentence for check in prove_again(job)[1] if not check.ok]
    assert any("is not what was chosen" in sentence for sentence in said)
    assert any("its bytes changed" in sentence for sentence in said)


def test_only_what_changed_is_sent_again_with_a_list_by_bar(job, made):
    _, first = made
    with pytest.raises(InputError, match="Nothing changed"):
        deliver(job, only_changed=True)
    chosen = {choice["phrase"]: choice["take"] for choice in _choice(job)}
    other = next(take.number for take in job.job.takes if take.file != chosen[1])
    set_overrides(job, {2: other})
    second = deliver(job, only_changed=True)
    names = [Path(name).name for name in second.files]
    assert all("_v2" in name for name in names if name != "checksums.txt")
    assert not any("Part" in name or "Line" in name or "Tempo" in name or "Pips" in name for name in names)
    assert not any("take2" in name for name in names)
    note = next(job.path(second.folder).glob("*Note*.txt")).read_text()
    assert "only what changed since delivery 1" in note and f"replaces {first.audio[0].name}" in note
    dry = next(words for words in second.changes if words.startswith("File 01"))
    # Phrase 2 of the line, from its notes' times on the grid of 100 a minute, bar 1 at 2 s.
    line = _choice(job, "line")
    phrase = line["phrases"][1]
    first_bar = int((line["notes"][phrase["first_note"]]["start_s"] - 2.0) / 2.4) + 1
    assert f"{first_bar}" in dry.split(" new")[0] and "all else as before, in its place" in dry
    assert any("TempoMap" in name for name in second.unchanged)


def test_stale_and_unapproved_packs_are_refused(job):
    chosen = {choice["phrase"]: choice["take"] for choice in _choice(job)}
    set_overrides(job, {1: next(take.number for take in job.job.takes if take.file != chosen[0])})
    said = [check.sentence for check in prove_again(job)[1] if not check.ok]
    assert any("before the latest changes" in sentence for sentence in said)
    with pytest.raises(InputError, match="no such delivery"):
        prove_again(job, 9)


def test_a_fault_in_writing_leaves_no_pack(job, monkeypatch):
    def short(planned, folder):
        path = folder / planned.name
        if planned.audio is None:
            path.write_bytes(planned.content)
        else:
            soundfile.write(path, planned.audio.y.T[:-1], planned.audio.sr, subtype="PCM_24")
        return path

    monkeypatch.setattr("obbligato.job.delivery.write_planned", short)
    with pytest.raises(NotRightError, match="1 frame too few"):
        deliver(job)
    assert sorted(path.name for path in job.path("delivery").iterdir() if path.is_dir()) == ["delivery_01"]


def test_the_log_tells_what_was_sent(job, made):
    _, pack = made
    rows = delivery_log(job)
    assert [row.name for row in rows][-1] == Path(pack.zip).name
    for row in rows[:-1]:
        path = job.path(pack.folder) / row.name
        assert (row.bytes, row.sha256) == (path.stat().st_size, sha256_of(path))
    assert log_text(rows).splitlines()[0] == "delivery,date,file,bytes,sha256"


def test_the_archive_opens_as_the_same_job(job, tmp_path):
    one, two = archive_job(job, tmp_path / "one.zip"), archive_job(job, tmp_path / "two.zip")
    assert one.read_bytes() == two.read_bytes()
    with zipfile.ZipFile(one) as archive:
        archive.extractall(tmp_path / "out")
    assert JobFolder.open(tmp_path / "out" / "job").job == job.job
    assert not (tmp_path / "out/job/.cache").exists()
    with pytest.raises(InputError, match="exists already"):
        archive_job(job, tmp_path / "one.zip")
    with pytest.raises(InputError, match="inside the job"):
        archive_job(job, job.path("me.zip"))


def test_the_tempo_map_travels_as_midi_and_as_text(made):
    folder, pack = made
    text = next(folder.path(pack.folder).glob("*TempoMap*.txt")).read_text()
    assert "bar    1   0:02.000   100.00" in text and "bar    2   0:04.400   100.00" in text
    midi = mido.MidiFile(next(folder.path(pack.folder).glob("*.mid")))
    tempos = [m.tempo for m in midi.tracks[0] if m.type == "set_tempo"]
    assert mido.tempo2bpm(tempos[-1]) == pytest.approx(100.0, abs=0.001)


def _choice(job, part="choice"):
    made = job.job.last_made("choose")
    document = json.loads(job.path(f"{made.folder}/choice.json").read_text())
    assessment = document.get("assessment", document)
    return assessment[part]


def test_what_was_proved_is_told_once_for_the_files_that_it_holds_of():
    said = ("No file is empty.", "File 01 has 24 bits.", "File 02 has 24 bits.", "File 01, read back, is so.")
    assert checks_in_short(tuple(Check(True, sentence) for sentence in said)) == [
        "No file is empty.",
        "Files 01, 02: has 24 bits.",
        "File 01: read back, is so.",
    ]


def test_what_waits_for_the_clients_yes_is_neither_delivered_nor_proved(job):
    waiting = Round(number=1, folder="approval/round_01", line_version=1, fingerprint="0" * 12, sent_at=now())
    job.save("review", "sent", rounds=(waiting,))
    with pytest.raises(NotRightError, match="has not said yes to line version 1"):
        deliver(job)
    said = [check.sentence for check in prove_again(job)[1] if not check.ok]
    assert said == ["The client has not said yes to line version 1."]
