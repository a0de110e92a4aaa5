"""Choosing in a job: what is read once is not read again, and choices by hand are quick, kept and taken back."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
import soundfile

import played_job
import players
from obbligato.errors import InputError
from obbligato.job import choosing, reading
from obbligato.job.choice_text import TEXT
from obbligato.job.choosing import COMP, SEAMS, choose, render
from obbligato.job.keys import choice_key
from obbligato.job.mapping import correct
from obbligato.job.proposing import choose_among, judged_so_far, proposal_by_edit_list
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes, leave_out
from obbligato.job.wishes import follow_text, match_levels, set_joining, set_overrides
from obbligato.takes import read


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """Three takes of three phrases, the second take wrong in the first phrase, the first in the second."""
    rng = np.random.default_rng(8)
    line = players.invent_line(rng, phrases=3)
    how = (players.Playing(wrong={1: 1}), players.Playing(wrong={0: 1}, sr=44100), players.Playing(noise=(2,)))
    takes = [players.play(line, h, rng) for h in how]
    folder = played_job.make_job(tmp_path_factory.mktemp("played") / "job", line, takes)
    render(folder)
    return folder.root


@pytest.fixture
def folder(finished, tmp_path):
    shutil.copytree(finished, tmp_path / "job")
    return JobFolder.open(tmp_path / "job")


@pytest.fixture
def listened(monkeypatch):
    """The names of the takes that were listened to."""
    names = []
    real = read._hear_and_measure

    def counted(name, *args, **kwargs):
        names.append(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(read, "_hear_and_measure", counted)
    return names


def _so_far(folder):
    judged = judged_so_far(folder)
    return choose_among(folder, judged) if judged else proposal_by_edit_list(folder)


def _chosen(folder):
    return [choice.take for choice in _so_far(folder).assessment.choice]


def test_a_choice_by_hand_listens_to_nothing(folder, listened):
    before = _chosen(folder)
    other = next(take for take in folder.job.takes if take.file != before[0])
    set_overrides(folder, {1: other.number})
    assert _chosen(folder)[0] == other.file
    comp = choose(folder)
    assert comp.assessment.choice[0].take == other.file
    assert comp.assessment.choice[0].why.startswith("By hand.")
    assert listened == []


def test_the_comp_is_the_same_whether_the_takes_were_just_heard_or_kept(folder, tmp_path):
    shutil.copytree(folder.root, tmp_path / "fresh")
    fresh = JobFolder.open(tmp_path / "fresh")
    shutil.rmtree(fresh.path(".cache"))
    comps = []
    for job in (folder, fresh):
        set_overrides(job, {1: 1})
        comps.append(choose(job))
    assert comps[0].assessment == comps[1].assessment
    assert np.array_equal(comps[0].audio.y, comps[1].audio.y)


def test_only_a_new_take_is_listened_to(folder, listened, tmp_path):
    line = _so_far(folder).assessment.line
    soundfile.write(
        tmp_path / "again.wav", players.play(line, players.Playing(), np.random.default_rng(1)).y.T, 48000
    )
    add_takes(folder, (tmp_path / "again.wav",))
    assert len(_so_far(folder).assessment.takes) == 3
    render(folder)
    assert listened == ["takes/take_04.wav"]
    assert len(_so_far(folder).assessment.takes) == 4


def test_leaving_a_take_out_listens_to_nothing(folder, listened):
    leave_out(folder, (3,))
    render(folder)
    assert listened == []
    assert {take.path for take in _so_far(folder).assessment.takes} == {
        "takes/take_01.wav",
        "takes/take_02.wav",
    }


def test_another_grid_is_another_line_so_all_is_heard_again(folder, listened):
    correct(folder, shift_beats=0.05)
    assert reading.heard_before(folder) == {}
    render(folder)
    assert len(listened) == 3


def test_a_choice_taken_back_uses_the_comp_that_is_there(folder):
    first = folder.job.last_made("choose").folder
    before = folder.path(f"{first}/{COMP}").stat().st_mtime_ns
    set_overrides(folder, {1: 3})
    second = render(folder)
    set_overrides(folder, {1: None})
    assert folder.job.overrides == {}
    assert second != first
    assert render(folder) == first
    assert folder.path(f"{first}/{COMP}").stat().st_mtime_ns == before
    assert folder.path(f"{second}/{COMP}").is_file()


def test_without_what_was_heard_the_edit_list_stands_in(folder):
    choice = _chosen(folder)
    assert _so_far(folder).assessment.seams
    shutil.rmtree(folder.path(".cache"))
    assert _chosen(folder) == choice
    assert _so_far(folder).assessment.seams
    set_overrides(folder, {1: 1})
    assert choice[0] != "takes/take_01.wav"
    assert _chosen(folder)[0] == "takes/take_01.wav"
    assert _so_far(folder).assessment.seams == ()


def test_nothing_heard_yet_is_no_proposal(folder):
    shutil.rmtree(folder.path(".cache"))
    shutil.rmtree(folder.path("comp"))
    assert _so_far(folder) is None


def test_a_choice_made_while_another_is_rendered_is_kept_and_makes_the_comp_stale(folder, monkeypatch):
    set_overrides(folder, {1: 1})
    real = choosing.propose

    def changed_meanwhile(*args, **kwargs):
        set_overrides(JobFolder.open(folder.root), {1: 2})
        return real(*args, **kwargs)

    monkeypatch.setattr(choosing, "propose", changed_meanwhile)
    render(folder)
    job = JobFolder.open(folder.root)
    assert job.job.overrides == {1: 2}
    assert job.job.made_from("choose", choice_key(job)) is None


def test_phrases_and_takes_that_are_not_there_are_refused(folder):
    with pytest.raises(InputError, match=r"no phrase 9; the line has phrases 1 to 3"):
        set_overrides(folder, {9: 1})
    with pytest.raises(InputError, match=r"no take 7; the job has takes 1, 2, 3"):
        set_overrides(folder, {1: 7})
    assert folder.job.overrides == {}


def _text(folder):
    return folder.path(f"{folder.job.last_made('choose').folder}/{TEXT}").read_text()


def _phrases(text):
    return [[cell.strip() for cell in row.split("|")] for row in text.splitlines() if not row.startswith("#")]


def test_a_list_handed_back_unchanged_changes_nothing(folder, tmp_path):
    (tmp_path / "list.txt").write_text(_text(folder))
    before = folder.job
    follow_text(folder, tmp_path / "list.txt")
    assert folder.job == before


def test_the_takes_and_gains_of_a_changed_list_are_the_comp(folder, tmp_path):
    rows = _phrases(_text(folder))
    assert [row[0] for row in rows] == ["1", "2", "3"]
    wanted = ["take 2" if row[2] != "take 2" else "take 3" for row in rows]
    text = "".join(
        f"{i + 1}|any bars|{take}|{'-1,5' if take == 'take 2' else '0'}\n" for i, take in enumerate(wanted)
    )
    (tmp_path / "list.txt").write_text(text)
    follow_text(folder, tmp_path / "list.txt")
    comp = choose(folder)
    assert [c.take for c in comp.assessment.choice] == [f"takes/take_0{take[-1]}.wav" for take in wanted]
    assert comp.gains_db == {"takes/take_02.wav": -1.5}
    assert [row[2] for row in _phrases(_text(folder))] == wanted


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("# head\n1|2|take 9|0\n", r"Line 2 of 'list.txt': there is no 'take 9' in use; the job has takes 1, 2, 3"),
        ("1|2|take 1|0\n7|2|take 1|0\n", r"Line 2 of 'list.txt': there is no phrase '7'"),
        ("1|2|take 1|loud\n", r"Line 1 of 'list.txt': 'loud' is no gain"),
        ("1|2|take 1|0\n1|2|take 2|0\n", r"Line 2 of 'list.txt': phrase 1 stands in the list twice"),
        ("1|2|take 1|0\n2|2|take 1|3\n", r"Line 2 of 'list.txt': take 1 has \+3 dB here and \+0 dB in phrase 1"),
        ("1 take 1\n", r"Line 1 of 'list.txt': phrase, bars, take and gain are needed"),
        ("# nothing\n", r"has no line with a phrase"),
        ("\x00\xff", r"is not an edit list"),
    ],
)
def test_a_list_that_cannot_be_followed_is_refused_by_its_line(folder, tmp_path, text, match):
    (tmp_path / "list.txt").write_bytes(text.encode("latin-1"))
    before = folder.job
    with pytest.raises(InputError, match=match):
        follow_text(folder, tmp_path / "list.txt")
    assert folder.job == before


def test_matched_takes_step_by_a_decibel_at_most(folder):
    # Two takes alternate by hand; the second is turned up by 6 dB, so that there is something to match.
    set_overrides(folder, {1: 1, 2: 2, 3: 1})
    set_joining(folder, gains_db={2: 6.0})
    assert min(abs(seam.level_step_db) for seam in choose(folder).assessment.seams) > 3.0
    match_levels(folder)
    assert max(abs(seam.level_step_db) for seam in choose(folder).assessment.seams) <= 1.0
    assert folder.path(f"{folder.job.last_made('choose').folder}/{SEAMS}").is_file()


def test_the_dial_and_the_base_are_kept_and_make_another_comp(folder):
    first = folder.job.last_made("choose").folder
    set_joining(folder, joins=0.0, base=3)
    assert [c.take for c in choose(folder).assessment.choice] == ["takes/take_03.wav"] * 3
    again = JobFolder.open(folder.root)
    assert (again.job.joining.joins, again.job.joining.base) == (0.0, 3)
    set_joining(folder, clear=True)
    assert render(folder) == first


@pytest.mark.parametrize(
    ("wish", "match"),
    [
        ({"joins": 1.5}, "from 0"),
        ({"base": 8}, "no take 8"),
        ({"inside": [4]}, "no phrase 4"),
        ({"gains_db": {1: 60.0}}, "from -40 to 40 dB"),
    ],
)
def test_wishes_that_cannot_be_are_refused(folder, wish, match):
    before = folder.job
    with pytest.raises(InputError, match=match):
        set_joining(folder, **wish)
    assert folder.job == before
