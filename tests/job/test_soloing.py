"""Takes of a free solo in a job: compared once, chosen from by phrases or as a whole, by hand where one wants."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

import played_job
import players
from obbligato.errors import InputError
from obbligato.job import soloing
from obbligato.job.choosing import COMP, TEXT, choose
from obbligato.job.mapping import correct
from obbligato.job.store import JobFolder
from obbligato.job.taking import leave_out
from obbligato.job.wishes import follow_text, set_joining, set_overrides


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three takes of one solo, the first flat in its first phrase, the second noisy in its second; no line."""
    rng = np.random.default_rng(12)
    line = players.invent_line(rng, phrases=3)
    how = (players.Playing(flat_cents={0: 45.0}), players.Playing(noise=(1,)), players.Playing(clipped=(2,)))
    takes = [players.play(line, h, rng) for h in how]
    folder = played_job.make_job(tmp_path_factory.mktemp("solo") / "job", line, takes)
    folder.save("line", "the line is taken away", lines=())
    choose(folder)
    return folder.root


@pytest.fixture
def folder(made, tmp_path):
    shutil.copytree(made, tmp_path / "job")
    return JobFolder.open(tmp_path / "job")


@pytest.fixture
def heard(monkeypatch):
    """How many takes were listened to."""
    names = []
    real = soloing.hear_free

    def counted(name, *args, **kwargs):
        names.append(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(soloing, "hear_free", counted)
    return names


def _takes(comp):
    return [choice.take for choice in comp.assessment.choice]


def test_what_was_planted_is_left_out_of_the_comp(folder, heard):
    comp = choose(folder)
    flags = {take.path: [phrase.flags for phrase in take.phrases] for take in comp.assessment.takes}
    assert [flags[take][phrase] for phrase, take in enumerate(_takes(comp))] == [(), (), ()]
    assert heard == []


def test_a_phrase_by_hand_is_used_and_nothing_is_listened_to_again(folder, heard):
    before = _takes(choose(folder))
    other = next(take for take in folder.job.takes if take.file != before[1])
    set_overrides(folder, {2: other.number})
    comp = choose(folder)
    assert _takes(comp)[1] == other.file
    assert comp.assessment.choice[1].why.startswith("By hand.")
    assert heard == []
    set_overrides(folder, {2: None})
    assert _takes(choose(folder)) == before


def test_one_whole_take_by_hand_is_used_as_it_is(folder):
    set_overrides(folder, {0: 2})
    comp = choose(folder)
    assert _takes(comp) == [folder.job.takes[1].file]
    assert comp.assessment.seams == ()
    assert folder.path(f"{comp.folder}/{COMP}").is_file()
    set_overrides(folder, {0: None})
    assert len(_takes(choose(folder))) == 3


def test_the_dial_is_followed(folder):
    set_joining(folder, joins=1.0)
    most = len(choose(folder).assessment.seams)
    set_joining(folder, joins=0.0)
    assert len(choose(folder).assessment.seams) <= most


def test_the_choice_as_text_is_followed(folder):
    comp = choose(folder)
    text = folder.path(f"{comp.folder}/{TEXT}")
    changed = folder.root / "mine.txt"
    changed.write_text(text.read_text().replace(f"take {_number(folder, _takes(comp)[2])}", "take 3"))
    follow_text(folder, changed)
    assert folder.job.takes[2].file in _takes(choose(folder))


def _number(folder, file):
    return next(take.number for take in folder.job.takes if take.file == file)


def test_other_takes_or_another_map_are_heard_anew(folder, heard):
    leave_out(folder, (3,))
    choose(folder)
    assert len(heard) == 2
    correct(folder, bar_1="0:02.1")
    choose(folder)
    assert len(heard) == 4


def test_damaged_readings_are_made_anew(folder, heard):
    (kept,) = folder.root.glob(".cache/solo-*.json")
    set_overrides(folder, {1: 3})
    kept.write_text("{}")
    choose(folder)
    assert len(heard) == 3


def test_phrases_that_are_not_there_are_refused(folder):
    with pytest.raises(InputError, match="no phrase 4; the takes, compared with one another, have phrases 1 to 3"):
        set_overrides(folder, {4: 1})
    for kept in folder.root.glob(".cache/solo-*.json"):
        kept.unlink()
    with pytest.raises(InputError, match="no phrase 1; the takes have not been read yet"):
        set_overrides(folder, {1: 1})
