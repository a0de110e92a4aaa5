"""`line` with its words, and `instruments`, as they are typed: what is changed, told, written, or refused."""

from __future__ import annotations

import json

import mido
import music21
import numpy as np
import pytest

import played_job
import players
from obbligato.job.store import JobFolder
from obbligato.music.instruments import INSTRUMENTS


@pytest.fixture
def job(tmp_path):
    """A job with a line and no takes."""
    line = players.invent_line(np.random.default_rng(5), phrases=2)
    return played_job.make_job(tmp_path / "job", line, []).root


@pytest.fixture
def notes(obbligato, job):
    """The notes of the newest version as its MIDI file has them, by an independent reader: pitch and velocity."""

    def read():
        file = JobFolder.open(job).job.lines[-1].file
        return [(m.note, m.velocity) for m in mido.MidiFile(job / file) if m.type == "note_on" and m.velocity]

    return read


def test_an_edit_in_words_is_a_new_version_and_is_told(obbligato, job, notes):
    before = notes()
    done = obbligato("line", job, "edit", "transpose 1-999 -12", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["version"] == 2
    assert notes() == [(pitch - 12, velocity) for pitch, velocity in before]
    assert len({change["bar"] for change in told["changes"]}) == len(told["changes"])
    words = obbligato("line", job, "edit", "transpose 1-999 12")
    assert "Version 3 of the line." in words.stdout
    assert notes() == before


def test_words_may_be_given_one_by_one(obbligato, job):
    assert obbligato("line", job, "edit", "lengthen", "1-999", "0.05").returncode == 0


def test_marks_are_put_on_told_and_taken_off(obbligato, job, notes):
    before = notes()
    marked = obbligato("line", job, "edit", "mark 1-999 staccato; mark 1-999 f; split 1-999")
    assert marked.returncode == 0, marked.stderr
    assert "now marked" in marked.stdout
    kept = json.loads((job / "line/v2.json").read_text())
    assert [entry["note"] for entry in kept["marked"]] == list(range(len(before)))
    assert all(entry["signs"] == ["staccato"] for entry in kept["marked"])
    assert notes() == before
    back = obbligato("line", job, "edit", "unmark 1-999", "--json")
    assert all("no longer" in change["sentence"] for change in json.loads(back.stdout)["changes"])
    assert not (job / "line/v3.json").exists()
    assert obbligato("line", job, "difference", "1", "3").stdout.strip() == "The two versions are the same."


def test_two_versions_are_compared_either_way(obbligato, job):
    obbligato("line", job, "edit", "delete 1-2")
    forth = json.loads(obbligato("line", job, "difference", "1", "2", "--json").stdout)
    back = json.loads(obbligato("line", job, "difference", "2", "1", "--json").stdout)
    assert [change["bar"] for change in forth] == [change["bar"] for change in back]
    assert {c["kind"] for change in forth for c in change["changes"]} == {"removed"}
    assert {c["kind"] for change in back for c in change["changes"]} == {"added"}


def test_a_layer_is_a_file_of_its_own(obbligato, job, notes):
    before = notes()
    done = obbligato("line", job, "layer", "octave-below", "--json")
    assert done.returncode == 0, done.stderr
    file = json.loads(done.stdout)["file"]
    layer = [m.note for m in mido.MidiFile(job / file) if m.type == "note_on" and m.velocity]
    assert layer == [pitch - 12 for pitch, _ in before]
    assert len(JobFolder.open(job).job.lines) == 1
    assert obbligato("line", job, "layer", "octave-below").returncode == 2
    assert notes() == before


def test_without_openings_help_says_so(obbligato, job):
    assert json.loads(obbligato("line", job, "help", "--json").stdout) == []
    assert "leaves no room" in obbligato("line", job, "help").stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("edit",), "Say what to change: move 12:3 0.5"),
        (("edit", "polish 3"), "'polish' is not an edit; use one of: move,"),
        (("edit", "mark 2 loud"), "'mark 2 loud' is not understood; write it like: mark 12:1-12:4 slur"),
        (("edit", "mark 1-999 mf; delete 999"), "No note of the line begins at 999; nothing was changed."),
        (("edit", "unmark 1-999"), "would change nothing"),
        (("difference", "1"), "Name two versions of the line"),
        (("difference", "1", "7"), "This job has no version 7 of the line"),
        (("layer",), "Name one layer: "),
        (("layer", "fifth-above"), "Name one layer: "),
    ],
)
def test_what_is_not_understood_is_refused_in_a_sentence(obbligato, job, words, said):
    before = (job / "job.json").read_bytes(), sorted(path.name for path in (job / "line").iterdir())
    refused = obbligato("line", job, *words)
    assert refused.returncode == 2
    assert said in " ".join(refused.stderr.split())
    assert ((job / "job.json").read_bytes(), sorted(path.name for path in (job / "line").iterdir())) == before


def test_marks_that_cannot_be_read_are_refused_wherever_the_line_is_used(obbligato, job):
    (job / "line/v1.json").write_text("{}")
    for command in (("check", job), ("line", job, "edit", "move 1 0.5"), ("part", job)):
        refused = obbligato(*command)
        assert refused.returncode == 2
        assert "The marks in 'line/v1.json' cannot be read" in " ".join(refused.stderr.split())


def test_the_table_has_every_instrument(obbligato):
    listed = json.loads(obbligato("instruments", "--json").stdout)
    assert [one["name"] for one in listed] == [instrument.name for instrument in INSTRUMENTS]
    table = obbligato("instruments").stdout
    assert all(f"\n{instrument.name} " in table for instrument in INSTRUMENTS)


@pytest.mark.parametrize(
    ("name", "theirs"),
    [
        ("trumpet", music21.instrument.Trumpet()),
        ("alto sax", music21.instrument.AltoSaxophone()),
        ("horn", music21.instrument.Horn()),
    ],
)
def test_an_instrument_sounds_as_music21_has_it(obbligato, name, theirs):
    (one,) = json.loads(obbligato("instruments", name, "--json").stdout)
    interval = one["transposition"]
    assert 12 * interval["octaves"] + interval["chromatic"] == theirs.transposition.semitones
    # General MIDI programs are counted from 0 there.
    assert one["gm_program"] == theirs.midiProgram + 1


def test_an_unknown_instrument_is_refused_in_a_sentence(obbligato):
    refused = obbligato("instruments", "vacuum cleaner")
    assert refused.returncode == 2
    assert "vacuum cleaner" in refused.stderr
    assert "Traceback" not in refused.stderr
