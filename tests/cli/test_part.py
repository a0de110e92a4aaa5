"""`part` and the words for its cues as they are typed; what it writes is read by mido and by Poppler."""

import json
import re
import shutil
import subprocess

import mido
import numpy as np
import pytest
import soundfile

from obbligato.job.intake import new_job
from obbligato.job.keys import line_key, part_key
from obbligato.job.mapping import sung_words
from obbligato.job.model import Brief
from obbligato.job.store import JobFolder
from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.midi import midi_bytes

SR = 22050
NOTES = tuple(Note(4.0 * bar + i, 1.0, 60 + i) for bar in (3, 4, 9) for i in range(4))


@pytest.fixture
def job(obbligato, tmp_path):
    """A song of twelve bars at 120 with a line in bars 4, 5 and 10, mapped by hand."""
    y = np.random.default_rng(4).standard_normal(24 * SR) * 0.2 * np.exp(-(np.arange(24 * SR) % (SR // 2)) / 3000.0)
    soundfile.write(tmp_path / "one.wav", y, SR, subtype="PCM_24")
    new_job(tmp_path / "job", guide=tmp_path / "one.wav", instrument="alto sax", brief=Brief(title="One"))
    line = Line(NOTES, (Phrase(0, 0, 7), Phrase(1, 8, 11)))
    (tmp_path / "line.mid").write_bytes(midi_bytes(line, Grid.steady(120.0, 0.0, Meter()), title="One", program=66))
    sections = [
        option for bar, letter in ((1, "A"), (4, "B"), (9, "C")) for option in ("--section", f"{bar}={letter}")
    ]
    done = obbligato("map", tmp_path / "job", "--bpm", 120, "--bar-1", "0:00", "--meter", "4/4", *sections)
    assert done.returncode == 0, done.stderr
    assert obbligato("line", tmp_path / "job", tmp_path / "line.mid", "--start", "guide").returncode == 0
    return tmp_path / "job"


def newest(job):
    return JobFolder.open(job).path(JobFolder.open(job).job.last_made("part").folder)


def test_a_part_comes_with_score_midi_and_the_map_of_its_pages(obbligato, job):
    done = obbligato("part", job)
    assert done.returncode == 0, done.stderr
    made = newest(job)
    names = {"part_A4.pdf", "part_Letter.pdf", "part.musicxml", "score_A4.pdf", "score_Letter.pdf", "score.musicxml"}
    assert {path.name for path in made.iterdir()} == {*names, "line.mid", "follow.json"}
    assert all(name in done.stdout for name in names)
    found = json.loads((made / "follow.json").read_text(encoding="utf-8"))
    assert [file["file"] for file in found["files"]] == ["part_A4.pdf", "part_Letter.pdf"]
    at_s = {note["note"]: note["at_s"] for row in found["files"][0]["rows"] for note in row["notes"]}
    # At 120 a beat lasts half a second.
    assert [at_s[i] for i in range(len(NOTES))] == pytest.approx([note.onset_beat / 2 for note in NOTES], abs=1e-3)


def test_the_midi_carries_tempo_and_letters(obbligato, job):
    obbligato("part", job)
    midi = mido.MidiFile(newest(job) / "line.mid")
    seconds, marks, starts = 0.0, {}, []
    for message in midi:
        seconds += message.time
        if message.type == "marker":
            marks[message.text] = seconds
        if message.type == "note_on" and message.velocity:
            starts.append((round(seconds, 3), message.note))
    assert {letter: marks[letter] for letter in "ABC"} == pytest.approx({"A": 0.0, "B": 6.0, "C": 16.0}, abs=2e-3)
    # Sounding pitch, whatever the saxophone reads.
    assert starts == [(pytest.approx(note.onset_beat / 2, abs=2e-3), note.pitch) for note in NOTES]


@pytest.mark.skipif(not shutil.which("pdfinfo"), reason="Poppler is not here")
def test_the_print_that_is_asked_for_comes_beside_the_normal_one(obbligato, job):
    done = obbligato("part", job, "--print", "low-vision", "--stave", 16, "--landscape", "--tint")
    assert done.returncode == 0, done.stderr
    made = newest(job)
    info = subprocess.run(["pdfinfo", made / "part_low-vision_A4.pdf"], check=True, capture_output=True, text=True)
    assert re.search(r"Page size: +841.89 x 595.2", info.stdout)
    assert (made / "part_A4.pdf").is_file()
    found = json.loads((made / "follow.json").read_text(encoding="utf-8"))
    assert (found["files"][0]["file"], found["files"][0]["stave_mm"]) == ("part_low-vision_A4.pdf", 16.0)


@pytest.mark.parametrize("words", [("--stave", "2"), ("--stave", "900"), ("--print", "tiny")])
def test_a_print_that_does_not_exist_is_refused(obbligato, job, words):
    done = obbligato("part", job, *words)
    assert done.returncode == 2
    assert not (job / "part").exists()


def test_words_become_cues_and_make_the_part_stale_but_nothing_else(obbligato, job):
    obbligato("part", job)
    before, key = newest(job), line_key(JobFolder.open(job))
    done = obbligato("map", job, "--words", "8=Carry me home tonight", "--words", "2=Cold light")
    assert done.returncode == 0, done.stderr
    folder = JobFolder.open(job)
    assert [(words.at_s, words.text) for words in sung_words(folder)] == [
        (pytest.approx(2.0), "Cold light"),
        (pytest.approx(14.0), "Carry me home tonight"),
    ]
    folder = JobFolder.open(job)
    assert folder.job.made_from("part", part_key(folder)) is None
    assert line_key(folder) == key
    obbligato("part", job)
    assert newest(job) != before
    text = (newest(job) / "part.musicxml").read_text(encoding="utf-8")
    assert "“Cold light”" in text
    assert "“Carry me home tonight”" in text  # sung from bar 8 on, the line comes in again in bar 10
    obbligato("map", job, "--words", "2=")
    assert [words.text for words in sung_words(JobFolder.open(job))] == ["Carry me home tonight"]
    refused = obbligato("map", job, "--words", "2=" + "la " * 40)
    assert refused.returncode == 2
    assert "60 at most" in refused.stderr
