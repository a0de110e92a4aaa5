"""A new guide in a job under way: nothing moves before the yes, and nothing is lost after it."""

import io
import json
from pathlib import Path

import mido
import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.job.intake import new_job
from obbligato.job.line_editing import edit_line
from obbligato.job.mapping import FINDINGS, LISTENER, correct, corrections, song_map, song_map_to_json
from obbligato.job.model import Brief
from obbligato.job.new_guide import compare_guide, leave_guide
from obbligato.job.places import read_taps
from obbligato.job.status import status
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes
from obbligato.job.taking_over import take_over_guide
from obbligato.job.writing import add_line, current_line
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import SectionSpan, Span
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts
from obbligato.sound.files import write_wav

SR, BPM, BAR_S, BARS = 24000, 120.0, 2.0, 8
BAR = round(BAR_S * SR)


@pytest.fixture(scope="module")
def sound():
    """Eight bars, each of a noise of its own that dies away beat by beat: no two bars are alike."""
    y = np.random.default_rng(11).standard_normal((2, BARS * BAR)) * 0.1
    return np.asarray(y * np.exp(-(np.arange(y.shape[1]) % (BAR // 4)) / 4000.0), dtype=np.float32)


def write(path, y):
    path.parent.mkdir(exist_ok=True, parents=True)
    write_wav(path, Audio(np.ascontiguousarray(y, dtype=np.float32), SR))
    return path


def two_bars_put_in(sound):
    """Two bars of other noise before bar 5."""
    other = np.random.default_rng(12).standard_normal((2, 2 * BAR)).astype(np.float32) * 0.1
    return np.concatenate([sound[:, : 4 * BAR], other, sound[:, 4 * BAR :]], axis=1)


def map_by_hand(folder, bars):
    """A made-up map where listening would leave its own."""
    grid = Grid.steady(BPM, 0.0, Meter())
    end_s = bars * BAR_S
    facts = SourceFacts(
        path="x", sha256=folder.job.guide.sha256, container="wav", codec="pcm", sample_rate=SR, channels=2,
        bit_depth=24, duration_s=end_s, frames=round(end_s * SR), lead_silence_s=0.0, encoder_delay_samples=None,
        integrated_lufs=-20.0, true_peak_dbtp=-3.0, clipped_samples=0, warnings=(),
    )  # fmt: skip
    downbeats_s = tuple(BAR_S * i for i in range(bars))
    song = SongMap(
        source=facts, tempo=Tempo(BPM, True, 0.9, 5.0, 0.0, (), ()), meter=MeterFinding(4, "quarter", 0.9),
        count_in=None, grid=GridFinding(0.0, tuple(grid.beat_to_sec(range(4 * bars)).tolist()), downbeats_s),
        tuning=Tuning(440.0, 0.0), keys=(), chords=(), openings=(), voice=(Span(0.0, 1.0),),
        sections=(SectionSpan(0.0, 4 * BAR_S, "A"), SectionSpan(4 * BAR_S, end_s, "B")),
    )  # fmt: skip
    stamp = {"guide_sha256": folder.job.guide.sha256, "listener": LISTENER}
    folder.path(FINDINGS).write_text(json.dumps({**stamp, "findings": song_map_to_json(song)}))


@pytest.fixture
def job(tmp_path, sound):
    """A mapped job with a line of a phrase in bar 2 and one in bar 6, a correction, and a take."""
    guide = write(tmp_path / "ferry.wav", sound)
    folder = new_job(tmp_path / "job", guide=guide, instrument="cello", brief=Brief(title="Ferry"))
    map_by_hand(folder, BARS)
    file, track = mido.MidiFile(ticks_per_beat=480), mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(BPM)))
    for beat, pitch in ((4, 48), (5, 50), (20, 52), (21, 53)):
        track.append(
            mido.Message("note_on", note=pitch, velocity=80, time=480 * (beat - sum(e.time for e in track) // 480))
        )
        track.append(mido.Message("note_off", note=pitch, velocity=0, time=480))
    file.save(tmp_path / "line.mid")
    add_line(folder, tmp_path / "line.mid", start="guide")
    correct(folder, sections=("7=C",), words=("6=Cold light",))
    take = 0.3 * np.sin(np.arange(4 * SR) * 0.05)[None, :]
    add_takes(folder, (write(tmp_path / "take.wav", take),), starts_at_s=5 * BAR_S)
    return JobFolder.open(folder.root)


def test_a_report_changes_nothing_the_job_goes_by(job, sound, tmp_path):
    before = job.job
    report = compare_guide(job, write(tmp_path / "ferry 2.wav", two_bars_put_in(sound)))
    after = JobFolder.open(job.root).job
    assert (after.guide, after.lines, after.takes) == (before.guide, before.lines, before.takes)
    assert [(s.section, [c.kind for c in s.changes]) for s in report.sections] == [
        ("A", ["identical"]),
        ("B", ["inserted", "moved"]),
        ("C", ["moved"]),
    ]
    assert [(p.line, p.takes) for p in report.phrases] == [("stays", "stays"), ("moves", "moves")]
    (take,) = report.takes
    assert (take.phrases_kept, take.phrases_lost) == ((2,), ())
    assert "2 bars are put in: bars 5 to 6 of the new guide." in report.sections[1].changes[0].sentence


def test_on_a_yes_the_job_goes_by_the_new_guide_and_nothing_is_lost(job, sound, tmp_path):
    first = job.job
    report = compare_guide(job, write(tmp_path / "ferry 2.wav", two_bars_put_in(sound)))
    take_over_guide(job, report.sha256)
    folder = JobFolder.open(job.root)
    assert folder.job.guide.sha256 == report.sha256
    assert all(folder.path(name).is_file() for name in (first.guide.pcm, first.guide.received, first.lines[0].file))
    assert next(stage for stage in status(folder).stages if stage.stage == "map").state == "open"
    # Both the stated place of the take and the corrected section were two bars (4 s) earlier.
    assert folder.job.takes[0].starts_at_s == pytest.approx(5 * BAR_S + 4.0, abs=1e-3)
    assert corrections(folder).sections[0].at_s == pytest.approx(6 * BAR_S + 4.0, abs=1e-3)
    assert corrections(folder).words[0].at_s == pytest.approx(5 * BAR_S + 4.0, abs=1e-3)
    map_by_hand(folder, BARS + 2)
    line = current_line(folder)
    assert line.version.guide_sha256 == report.sha256
    assert [note.pitch for note in line.line.notes] == [48, 50, 52, 53]
    # The second phrase is at the same bars of the music: two bars of four beats later.
    assert [note.onset_beat for note in line.line.notes] == pytest.approx([4, 5, 28, 29], abs=0.01)


def test_marks_are_carried_over_with_their_notes(job, sound, tmp_path):
    edit_line(job, "mark 2:1-2:2 slur; mark 6:1 f; mark 6:2 breath")
    report = compare_guide(job, write(tmp_path / "ferry 2.wav", two_bars_put_in(sound)))
    take_over_guide(job, report.sha256)
    map_by_hand(job, BARS + 2)
    notes = current_line(job).line.notes
    assert [note.marks.level for note in notes] == [None, None, "f", None]
    assert [note.marks.slurred for note in notes] == [True, False, False, False]
    assert [note.marks.breath for note in notes] == [False, False, False, True]


def test_going_back_brings_back_what_was_heard_and_put_right(job, sound, tmp_path):
    before = song_map(job)
    old = tmp_path / "ferry.wav"
    report = compare_guide(job, write(tmp_path / "ferry 2.wav", two_bars_put_in(sound)))
    take_over_guide(job, report.sha256)
    map_by_hand(job, BARS + 2)
    take_over_guide(job, compare_guide(job, old).sha256)
    assert song_map(job) == before
    assert [other.state for other in job.job.other_guides] == ["before"]


def test_a_guide_left_aside_stays_in_the_folder(job, sound, tmp_path):
    report = compare_guide(job, write(tmp_path / "ferry 2.wav", 0.5 * sound))
    # A factor of a half is 6.02 dB, by definition.
    assert report.difference.stretches[0].gain_db == pytest.approx(-6.02, abs=0.01)
    leave_guide(job, report.sha256)
    (other,) = JobFolder.open(job.root).job.other_guides
    assert (other.state, job.path(other.guide.received).is_file()) == ("left", True)


def test_the_guide_in_force_and_another_song_are_refused(job, tmp_path):
    with pytest.raises(InputError, match="goes by already"):
        compare_guide(job, tmp_path / "ferry.wav")
    noise = np.random.default_rng(5).standard_normal((2, 3 * BAR)) * 0.1
    report = compare_guide(job, write(tmp_path / "other.wav", noise))
    assert report.sentences[0].startswith("Nothing of the old guide")
    with pytest.raises(InputError, match="start a new job"):
        take_over_guide(job, report.sha256)


@pytest.mark.parametrize("text", ["0.5\n1.0\n1.5\n", "0.5 1.0 1.5", "\ufeff0:00.5\r\n1;1,5\r\n"])
def test_taps_are_read_from_a_file_or_standard_input(text, tmp_path, monkeypatch):
    file = tmp_path / "taps.txt"
    file.write_bytes(text.encode())
    assert read_taps(str(file)) == (0.5, 1.0, 1.5)
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    assert read_taps("-") == (0.5, 1.0, 1.5)


@pytest.mark.parametrize("data", [b"", b"one two", b"\xff\xfe\x00", b"1.0 " * 300_000])
def test_what_is_no_list_of_taps_is_refused(data, tmp_path):
    file = tmp_path / "taps.txt"
    file.write_bytes(data)
    with pytest.raises(InputError):
        read_taps(str(file))
    with pytest.raises(InputError, match="no file"):
        read_taps(str(Path(tmp_path / "none.txt")))
