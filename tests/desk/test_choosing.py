"""The choice as the page is told it, and deciding through the server's addresses."""

from __future__ import annotations

import shutil

import mido
import numpy as np
import pytest
from fastapi.testclient import TestClient

import played_job
import players
from obbligato.desk import choice_work
from obbligato.desk.app import make_app
from obbligato.desk.choice_data import choice_view, common_levels_db
from obbligato.desk.choice_words import note_names, offered_mends, seam_sentence
from obbligato.desk.deps import Desk
from obbligato.errors import InputError
from obbligato.job import reading
from obbligato.job.choosing import render
from obbligato.job.mapping import correct
from obbligato.job.store import JobFolder
from obbligato.job.taking import add_takes, leave_out
from obbligato.job.wishes import set_overrides
from obbligato.job.writing import add_line
from obbligato.music.instruments import find_instrument
from obbligato.music.spans import KeySpan
from obbligato.progress import silent
from obbligato.takes.readings import NoteReading, Seam, TakeReading, TimedLine, TimedNote


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """Three takes of three phrases: the first wrong in the second phrase, the second in the first, a note extra."""
    rng = np.random.default_rng(8)
    line = players.invent_line(rng, phrases=3)
    how = (
        players.Playing(wrong={1: 1}, level_db={0: 6.0, 1: 6.0, 2: 6.0}),
        players.Playing(wrong={0: 1}, missed={2: 1}),
    )
    takes = [players.play(line, h, rng) for h in (*how, players.Playing(noise=(2,)))]
    folder = played_job.make_job(tmp_path_factory.mktemp("played") / "Weir", line, takes)
    shutil.copytree(folder.root, folder.root.parent / "Unread")
    render(folder)
    return folder.root


@pytest.fixture
def folder(finished, tmp_path):
    shutil.copytree(finished, tmp_path / "jobs/Weir")
    return JobFolder.open(tmp_path / "jobs/Weir")


@pytest.fixture
def client(folder):
    return TestClient(make_app(Desk.at(folder.root.parent, token="t")))


def _view(folder):
    return choice_view(JobFolder.open(folder.root), lambda path: f"/file/{path}")


def test_every_phrase_has_a_cell_for_every_take_with_all_its_notes(folder):
    view = _view(folder)
    assert view.state == "fresh"
    assert [row.index for row in view.phrases] == [0, 1, 2]
    for row in view.phrases:
        assert [cell.take for cell in row.cells] == [1, 2, 3]
        for cell in row.cells:
            assert [note.index for note in cell.notes] == [note.index for note in row.notes]
        assert row.chosen in {1, 2, 3}
        assert row.section == "A"
        assert row.why
    assert view.unheard == []
    assert view.comp_url == "/file/comp/comp_01/comp.wav"
    assert view.sheet_url == "/file/comp/comp_01/take-sheet.pdf"


def test_what_was_planted_is_in_the_cells(folder):
    cells = {(row.index, cell.take): cell for row in _view(folder).phrases for cell in row.cells}
    assert "wrong_note" in cells[1, 1].flags
    assert "wrong_note" in cells[0, 2].flags
    assert "missed_note" in cells[2, 2].flags
    assert "noise" in cells[2, 3].flags
    wrong = cells[1, 1].notes[1]
    assert (wrong.played, wrong.cents) == (False, None)
    assert wrong.onset_ms is not None
    missed = cells[2, 2].notes[1]
    assert (missed.played, missed.cents, missed.onset_ms) == (False, None, None)
    assert not cells[2, 2].verdict.startswith("Bar")


# Take 1 was played 6 dB louder, humanised by 1 dB a note: the mean of four notes or more strays by 0.5 dB, the
# difference of two takes by 0.7 dB; 2 dB is three times that.
def test_levels_tell_how_much_louder_a_take_is(folder):
    for row in _view(folder).phrases:
        louder, other, *_ = (cell.level_db for cell in row.cells)
        assert louder - other == pytest.approx(6.0, abs=2.0)


def test_levels_are_of_the_notes_that_all_takes_have():
    def note(index, level):
        return NoteReading(index, level is not None, None, None, level)

    full, partial, silent_take = (note(0, -20.0), note(1, -10.0)), (note(0, -26.0), note(1, None)), (note(0, None),)
    assert common_levels_db([full, partial, silent_take]) == [-20.0, -26.0, None]
    assert common_levels_db([(note(0, -20.0),), (note(1, -30.0),)]) == [-20.0, -30.0]
    assert common_levels_db([]) == []


def test_a_choice_by_hand_shows_at_once_and_makes_the_comp_stale(folder):
    set_overrides(folder, {1: 1})
    view = _view(folder)
    assert (view.phrases[0].chosen, view.phrases[0].by_hand, view.state) == (1, True, "stale")
    assert view.phrases[0].why.startswith("By hand.")
    assert view.by_hand == {1: 1}


def test_a_new_take_waits_to_be_read(folder, tmp_path):
    shutil.copy(folder.path("takes/take_01.wav"), tmp_path / "again.wav")
    data = bytearray((tmp_path / "again.wav").read_bytes())
    data[-3:] = b"\x01\x00\x00"
    (tmp_path / "again.wav").write_bytes(data)
    add_takes(folder, (tmp_path / "again.wav",))
    view = _view(folder)
    assert view.unheard == [4]
    assert view.sentence == "Take 4 has not been read yet; read and choose."
    assert [take.heard for take in view.takes] == [True, True, True, False]
    assert len(view.phrases[0].cells) == 3


def test_while_takes_are_heard_anew_the_choice_stays_as_it_was(folder):
    before = _view(folder)
    for key in list(reading.heard_keys(folder).values())[1:]:
        folder.path(f".cache/{key}").unlink()
    assert [(row.chosen, len(row.cells)) for row in _view(folder).phrases] == [
        (row.chosen, 3) for row in before.phrases
    ]
    assert _view(folder).unheard == []


def test_readings_of_an_older_line_are_not_shown(folder, tmp_path):
    newer = mido.MidiFile(folder.path("line/v1.mid"))
    for message in newer.tracks[-1]:
        if message.type.startswith("note_"):
            message.note += 1
    newer.save(tmp_path / "newer.mid")
    add_line(folder, tmp_path / "newer.mid", start="guide")
    view = _view(folder)
    assert (view.state, view.phrases, view.unheard) == ("stale", [], [1, 2, 3])


def test_a_take_left_out_is_gone_from_the_cells_but_not_from_the_takes(folder):
    leave_out(folder, (2,))
    view = _view(folder)
    assert [cell.take for cell in view.phrases[0].cells] == [1, 3]
    assert [take.left_out for take in view.takes] == [False, True, False]


def test_nothing_is_listened_to_where_the_map_must_be_made_anew(folder, monkeypatch):
    correct(folder, meter="3/4")
    monkeypatch.setattr(reading, "hear_takes", None)
    view = _view(folder)
    assert view.state == "stale"
    assert view.phrases == []


# A flugelhorn in B flat is written a tone higher than it sounds (any orchestration handbook): concert E flat major is
# written F major, in which the seventh degree is E and the fourth B flat.
def test_notes_are_named_in_the_key_of_their_place(folder):
    from obbligato.job.mapping import song_map

    class Song:
        keys = (KeySpan(0.0, 9.0, "Eb", "major", 1.0),)
        sections = song_map(folder).sections

    line = TimedLine(tuple(TimedNote(i, float(i), i + 0.5, midi) for i, midi in enumerate((63, 68, 74))), ())
    written, sounding = note_names(line, Song(), find_instrument("Flugelhorn in Bb"))
    assert sounding == ["Eb4", "Ab4", "D5"]
    assert written == ["F4", "Bb4", "E5"]


def test_a_seam_says_only_what_is_worth_saying():
    quiet = Seam(5.0, "takes/take_01.wav", "takes/take_02.wav", 20.0, 0.3, -2.0, 0.1)
    assert seam_sentence(quiet) == "At 0:05.0, from take 1 to take 2 over 20 ms: the same in level, pitch and room."
    loud = Seam(5.0, "takes/take_01.wav", "takes/take_02.wav", 20.0, -1.26, 7.0, 0.1)
    assert seam_sentence(loud).endswith("1.3 dB softer, 7 cents higher.")


def test_deciding_through_the_server(client, folder):
    answer = client.post("/api/jobs/Weir/choice", json={"phrase": 1, "take": 1}).json()
    assert (answer["phrases"][0]["chosen"], answer["phrases"][0]["by_hand"]) == (1, True)
    assert client.get("/api/jobs/Weir/choice").json() == answer
    back = client.post("/api/jobs/Weir/choice", json={"phrase": 1, "take": None}).json()
    assert not back["phrases"][0]["by_hand"]
    assert back["state"] == "fresh"
    client.post("/api/jobs/Weir/choice", json={"phrase": 2, "take": 3})
    assert client.post("/api/jobs/Weir/choice", json={"clear": True}).json()["by_hand"] == {}
    left = client.post("/api/jobs/Weir/takes/leave-out", json={"numbers": [3]}).json()
    assert [take["left_out"] for take in left["takes"]] == [False, False, True]


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"phrase": 9, "take": 1}, "no phrase 9"),
        ({"phrase": 1, "take": 8}, "no take 8"),
        ({}, "give a phrase"),
        ({"take": 2}, "give"),
        ({"phrase": 0, "take": 1}, "no phrase 0"),
        ({"phrase": 1, "take": 1, "x": 1}, "x"),
    ],
)
def test_a_choice_that_cannot_be_is_refused_in_a_sentence(client, folder, body, says):
    answer = client.post("/api/jobs/Weir/choice", json=body)
    assert answer.status_code == 422
    assert says in answer.json()["error"]["message"]
    assert JobFolder.open(folder.root).job.overrides == {}


def test_the_worker_goes_on_until_the_comp_is_what_was_last_chosen(folder, monkeypatch):
    set_overrides(folder, {1: 1})
    real, decided = choice_work.render, []

    def decides_meanwhile(job, *, progress):
        comp = real(job, progress=progress)
        if not decided:
            decided.append(comp)
            set_overrides(JobFolder.open(folder.root), {1: 2})
        return comp

    monkeypatch.setattr(choice_work, "render", decides_meanwhile)
    comp = choice_work.choose(root=folder.root, progress=silent)
    assert comp != decided[0]
    assert _view(folder).state == "fresh"
    assert _view(folder).phrases[0].chosen == 2


def test_the_dial_the_base_and_gains_are_kept_and_taken_back(client, folder):
    address = "/api/jobs/Weir/joining"
    given = {"joins": 1.0, "base": 2, "gains_db": {"1": -2.5}}
    view = client.post(address, json=given).json()
    assert (view["joins"], view["base"], view["gains_db"]) == (1.0, 2, {"1": -2.5})
    assert JobFolder.open(folder.root).job.joining.joins == 1.0
    view = client.post(address, json={"base": None, "gains_db": {"1": 0}}).json()
    assert (view["joins"], view["base"], view["gains_db"]) == (1.0, None, {})
    for bad in ({"joins": 2}, {"base": 9}, {"gains_db": {"1": 99}}):
        assert client.post(address, json=bad).status_code in {400, 422}


def test_a_mend_is_made_told_and_taken_back(folder):
    asked = {"root": folder.root, "take": 1, "phrase": None, "progress": silent}
    assert choice_work.mend(mend="gain=-3", undo=False, **asked)
    [mended] = _view(folder).takes[0].mends
    assert mended.what == "gain=-3"
    assert mended.did
    assert _view(folder).state == "stale"
    choice_work.mend(mend="gain=-3", undo=True, **asked)
    assert _view(folder).takes[0].mends == []
    with pytest.raises(InputError, match="not something to mend"):
        choice_work.mend(mend="pitch", undo=False, **asked)


def test_the_choice_as_text_is_read_back_and_a_bad_line_is_named(client, folder):
    text = client.get("/api/jobs/Weir/choice/text").json()["text"]
    row = next(line for line in text.splitlines() if line.startswith("1 |"))
    other = row.replace("take 3", "take 1") if "take 3" in row else row.replace("take 1", "take 3")
    assert other != row
    choice_work.follow(root=folder.root, text=text.replace(row, other), progress=silent)
    assert 1 in JobFolder.open(folder.root).job.overrides
    with pytest.raises(InputError, match=r"[Ll]ine"):
        choice_work.follow(root=folder.root, text=text.replace(row, "1 | here"), progress=silent)


def test_layers_are_compared_and_one_take_is_not_cut(folder):
    sentences = choice_work.layers(root=folder.root, takes=[1, 3], progress=silent)
    assert sentences
    assert all(sentence.endswith(".") for sentence in sentences)
    with pytest.raises(InputError, match="nothing to cut"):
        choice_work.cut(root=folder.root, take=1, progress=silent)


def test_what_a_take_calls_for_is_offered():
    reading = TakeReading("takes/take_01.wav", 0.0, 0.0, 0.0, (), flags=("drift", "hum"))
    assert offered_mends(reading, []) == ["clock", "hum"]
    assert offered_mends(reading, ["hum"]) == ["clock"]


@pytest.fixture
def solo(finished, tmp_path):
    """The same takes, of which no line is written; not read yet."""
    shutil.copytree(finished.parent / "Unread", tmp_path / "jobs/Weir")
    folder = JobFolder.open(tmp_path / "jobs/Weir")
    folder.save("line", "the line is taken away", lines=())
    return folder


def test_solos_without_a_line_are_compared_or_one_is_used_whole(solo):
    client = TestClient(make_app(Desk.at(solo.root.parent, token="t")))
    before = _view(solo)
    assert before.unheard == [1, 2, 3]
    assert "read the takes to compare them with one another" in before.sentence
    render(solo)
    read = _view(solo)
    assert (read.unheard, read.has_line, read.whole) == ([], False, None)
    assert len(read.phrases) == 3
    assert all(len(row.cells) == 3 for row in read.phrases)
    address = "/api/jobs/Weir/choice"
    by_hand = client.post(address, json={"phrase": 2, "take": 1}).json()
    assert (by_hand["phrases"][1]["chosen"], by_hand["by_hand"]) == (1, {"2": 1})
    whole = client.post(address, json={"phrase": 0, "take": 2}).json()
    assert (whole["whole"], whole["by_hand"], whole["unheard"]) == (2, {"2": 1}, [])
    again = client.post(address, json={"phrase": 0, "take": None}).json()
    assert again["whole"] is None
    assert len(again["phrases"]) == 3
