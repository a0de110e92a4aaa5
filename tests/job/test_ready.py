import json
import shutil
from collections import namedtuple

import numpy as np
import pytest

import ready as bench
from obbligato.cli import app
from obbligato.cli.terminal import run
from obbligato.errors import InputError
from obbligato.job.intake import new_job
from obbligato.job.mapping import correct
from obbligato.job.model import Brief
from obbligato.job.ready import check_device, check_disk, check_file
from obbligato.job.writing import add_line
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, write_wav


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    """A job at 60 beats a minute with a line whose loud note lies in bar 3."""
    import mido

    root = tmp_path_factory.mktemp("ready")
    tone = 0.3 * np.sin(2 * np.pi * 440.0 * np.arange(20 * bench.SR) / bench.SR)
    write_wav(root / "guide.wav", Audio(np.asarray(tone, dtype=np.float32), bench.SR), bit_depth=24)
    folder = new_job(root / "job", guide=root / "guide.wav", instrument="alto sax", brief=Brief(title="Tide"))
    correct(folder, bpm=60.0, bar_1="0:00", meter="4/4")
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    for velocity in (50, 50, 110, 50):
        track.append(mido.Message("note_on", note=62, velocity=velocity))
        track.append(mido.Message("note_off", note=62, time=4 * 480))
    file.tracks.append(track)
    file.save(root / "line.mid")
    add_line(folder, root / "line.mid", start="bar-1")
    write_wav(root / "good.wav", bench.recordings(seconds=8.0)["reed, invented"], bit_depth=24)
    return root


def call(monkeypatch, capsys, *arguments):
    monkeypatch.setattr("sys.argv", ["obbligato", *map(str, arguments)])
    return run(app), capsys.readouterr().out


def test_the_bars_to_play_are_named_before_anything_is_recorded(root, monkeypatch, capsys):
    status, text = call(monkeypatch, capsys, "levels", root / "job", "--plan")
    assert status == 0
    assert "three seconds of silence and then bars 1-4" in text


def test_one_green_sentence_or_one_instruction(root, monkeypatch, capsys):
    status, text = call(monkeypatch, capsys, "levels", root / "job", root / "good.wav")
    assert (status, text.count("\n")) == (0, 1)
    assert text.startswith("Ready to record: ")
    good = read_audio(root / "good.wav")
    write_wav(root / "soft.wav", Audio(0.1 * good.y, 44100), bit_depth=24)
    status, text = call(monkeypatch, capsys, "levels", root / "job", root / "soft.wav")
    assert (status, text) == (1, "Set the recorder to 48000 Hz, the guide's rate; it is at 44100 Hz.\n")
    status, text = call(monkeypatch, capsys, "levels", root / "job", root / "soft.wav", "--json")
    found = json.loads(text)
    assert found["readiness"]["ready"] is False
    assert {"input", "rate", "peaks", "floor", "disk"} <= {check["what"] for check in found["readiness"]["checks"]}
    assert any("and play bars 1-4 again" in check["sentence"] for check in found["readiness"]["checks"])


def test_the_low_cut_is_half_of_the_lowest_note(root):
    from obbligato.job.store import JobFolder

    found = check_file(JobFolder.open(root / "job"), root / "good.wav")
    cut = next(check.value for check in found.readiness.checks if check.what == "low cut")
    assert cut == pytest.approx(293.66 / 2, abs=0.5)  # D4 of the equal-tempered scale at 440 Hz


def test_a_full_disk_is_said(tmp_path, monkeypatch):
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(10**12, 10**12, 3 * 10**9))
    # Four minutes at 48 kHz, two channels of 4 bytes: 92 MB a take; 20 takes, twice, and 2 GB to spare: 5.7 GB.
    found = check_disk(tmp_path, song_s=240.0, sr=48000)
    assert (found.state, found.sentence) == (
        "wrong",
        "Make room on the disk: 3.0 GB are free, and 20 takes with copies need 5.7 GB.",
    )


def test_a_drawing_is_written_once(tmp_path, monkeypatch, capsys):
    drawing = tmp_path / "mic.svg"
    status, text = call(monkeypatch, capsys, "levels", "--placement", "flugel", "--drawing", drawing)
    assert status == 0
    assert "degrees off its axis" in text
    assert drawing.read_text().startswith("<svg ")
    assert call(monkeypatch, capsys, "levels", "--placement", "flugel", "--drawing", drawing)[0] == 2


@pytest.mark.parametrize("arguments", [(), ("--placement", "kazoo"), ("job", "--drawing", "a.svg")])
def test_what_cannot_be_checked_is_refused(arguments, monkeypatch, capsys):
    assert call(monkeypatch, capsys, "levels", *arguments)[0] == 2


def test_a_recording_that_is_not_there(root):
    from obbligato.job.store import JobFolder

    with pytest.raises(InputError, match="no file"):
        check_file(JobFolder.open(root / "job"), root / "nothing.wav")


class Played:
    """A device that hears a recording at once, in blocks of 480 frames."""

    name = "played"

    def __init__(self, y, *, stops_after=10**9, loses_at=-1):
        self.y, self.stops_after, self.loses_at = y, stops_after, loses_at
        self.running, self.closed = True, False

    def open(self, on_block, *, sr, block, inputs, outputs):
        assert (sr, inputs) == (bench.SR, len(self.y))
        self.on_block, self.outputs = on_block, outputs
        return self

    def start(self):
        for i, at in enumerate(range(0, self.y.shape[1], 480)):
            if i >= self.stops_after:
                self.running = False
                return
            played = np.ones((480, self.outputs), np.float32)
            self.on_block(self.y[:, at : at + 480].T, played, 0.0, 0.0, i == self.loses_at)
            assert not played.any()

    def close(self):
        self.closed = True


def test_a_device_is_recorded_and_checked(root):
    from obbligato.job.store import JobFolder

    folder, y = JobFolder.open(root / "job"), read_audio(root / "good.wav").y
    device = Played(y)
    heard = check_device(folder, device, seconds=8.0).readiness
    assert device.closed
    from_file = check_file(folder, root / "good.wav").readiness
    assert heard.sentence == from_file.sentence
    assert [check for check in heard.checks if check.what not in ("drop-outs", "disk")] == list(from_file.checks[:-1])


def test_a_device_that_stops_is_named(root):
    from obbligato.job.store import JobFolder

    device = Played(read_audio(root / "good.wav").y, stops_after=100)
    with pytest.raises(InputError, match=r"'played' stopped after 1\.0 s"):
        check_device(JobFolder.open(root / "job"), device, seconds=8.0)
    assert device.closed


def test_lost_sound_is_said(root):
    from obbligato.job.store import JobFolder

    device = Played(read_audio(root / "good.wav").y, loses_at=50)
    found = check_device(JobFolder.open(root / "job"), device, seconds=8.0).readiness
    assert found.sentence.startswith("'played' lost sound once")


def test_the_mock_up_is_heard_when_asked_for(root, monkeypatch, capsys):
    from obbligato.job.store import JobFolder

    job = root / "job"
    assert call(monkeypatch, capsys, "click", job, "--mock-up")[0] == 2
    assert call(monkeypatch, capsys, "mockup", job)[0] == 0
    status, text = call(monkeypatch, capsys, "click", job, "--mock-up", "--tone", "soft", "--headphones", "112 dB/V")
    assert status == 0
    assert "mock-up " in text
    assert "With headphones of 112 dB at 1 V" in text
    folder = JobFolder.open(job)
    made = folder.path(folder.job.last_made("click").folder)
    click, mix = (read_audio(made / name).mono() for name in ("click.wav", "headphones.wav"))
    # The soft tone's accent is E5, 659 Hz (equal-tempered scale), within a semitone.
    spectrum = np.abs(np.fft.rfft(click[: bench.SR // 4], 1 << 16))
    assert 660 / 1.06 < spectrum.argmax() * bench.SR / (1 << 16) < 660 * 1.06
    # The line's D4, 293.66 Hz, sounds in bar 2 of the mix, where guide and click have nothing near it.
    bar_2 = np.abs(np.fft.rfft(mix[5 * bench.SR : 7 * bench.SR]))
    d4 = bar_2[2 * 285 : 2 * 303].max()
    assert d4 > 20 * np.median(bar_2[2 * 300 : 2 * 430])
    assert call(monkeypatch, capsys, "click", job, "--headphones", "loud")[0] == 2
