"""Mends in a job: made on request, listed with what they did, taken back, and heard in the comp."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
import soundfile

import played_job
import players
from obbligato import cli
from obbligato.cli.terminal import run
from obbligato.errors import InputError
from obbligato.job.choosing import choose
from obbligato.job.keys import choice_key
from obbligato.job.mending import list_mends, mend, mended_audio, undo_mend
from obbligato.job.mends import parse_mend
from obbligato.job.store import JobFolder
from obbligato.sound.audio import Audio


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """One take of four phrases with hum in it, its second phrase 60 ms late."""
    rng = np.random.default_rng(4)
    line = players.invent_line(rng, phrases=4)
    take = players.play(line, players.Playing(late_ms={1: 60.0}, scatter_ms=3.0), rng)
    t = np.arange(take.n_samples) / take.sr
    hum = 0.004 * sum(np.sin(2 * np.pi * 50 * k * t) / k for k in (1, 2, 3))
    sound = Audio((take.y + hum).astype(np.float32), take.sr)
    folder = played_job.make_job(tmp_path_factory.mktemp("mended") / "job", line, [sound])
    choose(folder)
    return folder.root


@pytest.fixture
def folder(made, tmp_path):
    shutil.copytree(made, tmp_path / "job")
    return JobFolder.open(tmp_path / "job")


def _late_ms(folder, phrase):
    notes = choose(folder).assessment.takes[0].phrases[phrase].notes
    return float(np.median([note.onset_ms for note in notes if note.onset_ms is not None]))


def test_a_phrase_is_moved_and_moved_back(folder):
    before, key, take = _late_ms(folder, 1), choice_key(folder), folder.job.takes[0]
    received = folder.path(take.file).read_bytes()
    told = mend(folder, 1, "move=-60", phrase=2)
    assert told.sentences == ("Phrase 2 moved 60 ms earlier as a whole.",)
    assert choice_key(folder) != key
    assert _late_ms(folder, 1) - before == pytest.approx(-60.0, abs=3.0)
    assert folder.path(take.file).read_bytes() == received
    undo_mend(folder, 1, "move", phrase=2)
    assert choice_key(folder) == key
    assert list_mends(folder) == ()


def test_several_mends_are_listed_with_what_they_did(folder):
    mend(folder, 1, "gain=-3")
    mend(folder, 1, "low-cut")
    mend(folder, 1, "hum")
    (told,) = list_mends(JobFolder.open(folder.root))
    assert told.mends == ("hum", "low-cut", "gain=-3")
    assert told.sentences[0].startswith("Hum of 50.0")
    assert "softer" in told.sentences[2]
    take = folder.job.takes[0]
    sounds = soundfile.read(folder.path(take.file))[0], mended_audio(folder, take).mono()
    rest = slice(0, 48000)
    fell_db = [10 * np.log10(np.mean(np.square(sound[rest]))) for sound in sounds]
    assert fell_db[0] - fell_db[1] > 15.0
    shutil.rmtree(folder.path(".cache"))
    assert np.array_equal(mended_audio(folder, take).mono(), sounds[1])


@pytest.mark.parametrize(
    ("what", "phrase", "sentence"),
    [
        ("clock", None, "clock keeps the guide's time"),
        ("steps", None, "No lost block"),
        ("rate", None, "nothing to mend"),
        ("bleed", None, "nothing was mended"),
        ("gain=20", None, "full scale"),
        ("move=200", 9, "no phrase 9"),
        ("move=20", None, "say which"),
        ("gain", None, "with a number"),
        ("reverb", None, "not something to mend"),
        ("gain=60", None, "24 at most"),
    ],
)
def test_what_cannot_be_mended_is_refused_and_nothing_is_kept(folder, what, phrase, sentence):
    revision = folder.job.revision
    with pytest.raises(InputError, match=sentence):
        mend(folder, 1, what, phrase=phrase)
    assert JobFolder.open(folder.root).job.revision == revision
    assert folder.job.mended == {}


def test_a_take_of_a_wrong_rate_is_refused_until_that_is_mended(tmp_path):
    rng = np.random.default_rng(2)
    line = players.invent_line(rng, phrases=3)
    take = players.play(line, players.Playing(sr=44100), rng)
    folder = played_job.make_job(tmp_path / "job", line, [Audio(take.y, 48000)])
    with pytest.raises(InputError, match="44100 Hz"):
        choose(folder)
    told = mend(folder, 1, "rate")
    assert told.sentences[0].startswith("Read at its true rate of 44100 Hz.")
    assert mended_audio(folder, folder.job.takes[0]).sr == 44100
    assert all(note.played for phrase in choose(folder).assessment.takes[0].phrases for note in phrase.notes)


def test_the_command_makes_lists_and_takes_back(folder, monkeypatch, capsys):
    def command(*words):
        monkeypatch.setattr("sys.argv", ["obbligato", "mend", str(folder.root), *words])
        status = run(cli.app)
        return status, capsys.readouterr().out

    assert command("1", "gain=-2", "--json")[0] == 0
    listed = json.loads(command("--json")[1])
    assert [one["mends"] for one in listed] == [["gain=-2"]]
    assert command("1", "hum", "--undo")[0] == 2
    assert command("1", "--undo")[0] == 0
    assert "Nothing is mended." in command()[1]
    assert command("7", "hum")[0] == 2


def test_a_mend_reads_as_it_is_written():
    for text in ("clock", "gain=-3", "gain=2.5 phrase 4", "move=-12.5 phrase 2"):
        assert str(parse_mend(text)) == text
