"""The line over HTTP: kept as it was written, engraved as it is being written, followed as it is played."""

import json
import re
from itertools import pairwise

import mido
import pytest
from starlette.testclient import TestClient

from obbligato.desk.app import make_app
from obbligato.desk.deps import Desk
from obbligato.desk.routes.writing import PartOrder, mockup_work, part_work
from obbligato.desk.stand_data import row_width_staves
from obbligato.job.mapping import FINDINGS
from obbligato.job.store import JobFolder
from obbligato.music.instruments import find_instrument
from obbligato.progress import silent

JOB = "/api/jobs/NightFerry"
BEAT_S = 0.6
"""The made-up song: 100 quarter notes a minute from the guide's first sample, six bars of 4/4."""
TICK_BEATS = 1 / 1920
NOTES = [(6, 1, 65), (7, 0.5, 67), (7.5, 0.5, 69), (8, 2, 70), (10, 1.5, 67), (16, 4, 72), (20, 3.5, 60)]
"""What `mapped_jobs` has as version 1: beat from bar 1, beats, sounding pitch."""


def note(beat, beats=0.9, pitch=67, velocity=80):
    return {"onset_beat": beat, "duration_beats": beats, "pitch": pitch, "velocity": velocity}


WRITTEN = [note(0.02, 0.9, 62, 70), note(1.33, 0.5, 64, 101), note(2.0, 1.75, 65), note(9.51, 2.2, 70, 64)]


@pytest.fixture
def page(mapped_jobs):
    desk = Desk.at(mapped_jobs, token="t" * 24)
    yield TestClient(make_app(desk), base_url="http://127.0.0.1")
    desk.work.close()


@pytest.fixture
def folder(mapped_jobs):
    return JobFolder.open(mapped_jobs / "NightFerry")


def refused(answer, status, words):
    assert answer.status_code == status, answer.text
    assert re.search(words, answer.json()["error"]["message"])


def drift(folder):
    """Let the made-up song slow down: each beat is a hundredth longer than the one before."""
    path = folder.path(FINDINGS)
    kept = json.loads(path.read_text())
    beats_s = [0.0]
    for i in range(27):
        beats_s.append(beats_s[-1] + 0.5 * 1.01**i)
    kept["findings"]["tempo"]["steady"] = False
    kept["findings"]["grid"]["beats_s"] = beats_s
    path.write_text(json.dumps(kept))
    return beats_s


class TestKeeping:
    def test_what_is_kept_is_what_was_written(self, page):
        answer = page.post(f"{JOB}/line", json={"notes": WRITTEN})
        assert answer.status_code == 201
        assert answer.json()["version"] == 2
        back = page.get(f"{JOB}/line").json()
        assert back["version"] == 2
        for kept, written in zip(back["notes"], WRITTEN, strict=True):
            assert (kept["pitch"], kept["velocity"]) == (written["pitch"], written["velocity"])
            # A tick each for onset and end, and the tempo's rounding to a microsecond a beat.
            assert kept["onset_beat"] == pytest.approx(written["onset_beat"], abs=1.1 * TICK_BEATS)
            assert kept["duration_beats"] == pytest.approx(written["duration_beats"], abs=2.1 * TICK_BEATS)

    def test_another_reader_hears_it_at_the_same_seconds(self, page, folder):
        """mido plays the file by its own clock."""
        page.post(f"{JOB}/line", json={"notes": WRITTEN})
        at_s, onsets_s = 0.0, []
        for message in mido.MidiFile(folder.path("line/v2.mid")):
            at_s += message.time
            if message.type == "note_on" and message.velocity:
                onsets_s.append(at_s)
        # A tick is a third of a millisecond here.
        assert onsets_s == pytest.approx([BEAT_S * one["onset_beat"] for one in WRITTEN], abs=0.0005)

    def test_the_order_of_notes_is_put_right_and_overlaps_are_ended(self, page):
        notes = [note(4, 1.0, 65), note(2, 2.2, 64)]
        page.post(f"{JOB}/line", json={"notes": notes})
        first, second = page.get(f"{JOB}/line").json()["notes"]
        assert (first["pitch"], second["pitch"]) == (64, 65)
        assert first["onset_beat"] + first["duration_beats"] == pytest.approx(4, abs=1.1 * TICK_BEATS)

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            ({"notes": []}, "no note yet"),
            ({"notes": [note(3), note(3.01)]}, "begin together at bar 1 beat 4"),
            ({"notes": [note(-1)]}, "before the guide's first sample"),
            ({"notes": [note(500)]}, "after the song"),
            ({"notes": [note(3)], "upload": "u-1"}, "not both"),
            ({}, "not neither"),
            ({"upload": "u-unknown"}, "has not arrived"),
        ],
    )
    def test_what_cannot_be_kept_is_refused_and_changes_nothing(self, page, folder, body, words):
        refused(page.post(f"{JOB}/line", json=body), 422, words)
        assert [path.name for path in folder.path("line").iterdir()] == ["v1.mid"]

    @pytest.mark.parametrize(
        "change", [{"pitch": 128}, {"velocity": 0}, {"duration_beats": 0}, {"onset_beat": 1e9}, {"colour": "red"}]
    )
    def test_impossible_notes_are_refused(self, page, change):
        answer = page.post(f"{JOB}/line", json={"notes": [note(3) | change]})
        assert answer.status_code == 422

    def test_no_number_is_no_place(self, page):
        body = json.dumps({"notes": [note(3)]}).replace("3", "NaN", 1)
        answer = page.post(f"{JOB}/line", content=body, headers={"Content-Type": "application/json"})
        assert answer.status_code == 422

    def test_the_same_line_twice_is_refused(self, page):
        page.post(f"{JOB}/line", json={"notes": WRITTEN})
        refused(page.post(f"{JOB}/line", json={"notes": WRITTEN}), 422, "already version 2")

    def test_before_the_song_is_mapped_there_is_nothing_to_write_on(self, jobs_folder):
        page = TestClient(make_app(Desk.at(jobs_folder, token="t" * 24)), base_url="http://127.0.0.1")
        for answer in (
            page.post(f"{JOB}/line", json={"notes": WRITTEN}),
            page.get(f"{JOB}/line"),
            page.post(f"{JOB}/draft", json={"notes": []}),
            page.get(f"{JOB}/stand"),
        ):
            refused(answer, 409, "not been listened to")

    def test_a_file_that_was_dropped_becomes_a_version(self, page, folder, tmp_path):
        data = folder.path("line/v1.mid").read_bytes()
        file = mido.MidiFile(folder.path("line/v1.mid"))
        file.tracks[0][-2].time += 120
        file.save(tmp_path / "changed.mid")
        data = (tmp_path / "changed.mid").read_bytes()
        arrived = page.put("/api/uploads?name=changed.mid", content=data).json()
        answer = page.post(f"{JOB}/line", json={"upload": arrived["upload"], "start": "guide"})
        assert (answer.status_code, answer.json()["version"]) == (201, 2)
        assert folder.path("line/v2.mid").read_bytes() == data
        refused(page.post(f"{JOB}/line", json={"upload": arrived["upload"]}), 422, "used already")


class TestDraft:
    def draft(self, page, notes, **look):
        answer = page.post(f"{JOB}/draft", json={"notes": notes, "per_row": 2, **look})
        assert answer.status_code == 200, answer.text
        return answer.json()

    def test_every_note_has_its_name_its_place_and_a_head_in_the_drawing(self, page):
        drawn = self.draft(page, [note(beat, beats, pitch) for beat, beats, pitch in NOTES])
        # A B flat instrument writes a tone above what sounds (any orchestration handbook).
        assert [(n["sounding"], n["written"]) for n in drawn["notes"][:3]] == [
            ("F4", "G4"),
            ("G4", "A4"),
            ("A4", "B4"),
        ]
        assert [n["beat"] for n in drawn["notes"]] == [beat for beat, _, _ in NOTES]
        heads = {int(n) for row in drawn["rows"] for n in re.findall(r'data-note="(\d+)"', row["svg"])}
        assert heads == set(range(len(NOTES)))

    def test_rows_begin_with_sections(self, page):
        rows = self.draft(page, [], per_row=4)["rows"]
        assert [[bar["number"] for bar in row["bars"]] for row in rows] == [[1, 2, 3], [4, 5, 6]]

    def test_an_empty_draft_is_the_empty_song(self, page):
        drawn = self.draft(page, [])
        assert drawn["notes"] == drawn["remarks"] == drawn["phrases"] == []
        assert (drawn["first_bar"], drawn["last_bar"]) == (1, 6)
        assert "data-note" not in "".join(row["svg"] for row in drawn["rows"])
        assert ">D<" in drawn["rows"][0]["svg"]  # C sounds, D is written

    def test_some_bars_are_drawn_as_the_whole_is(self, page):
        notes = [note(beat, beats, pitch) for beat, beats, pitch in NOTES]
        whole = self.draft(page, notes)["rows"]
        part = self.draft(page, notes, first_bar=5, last_bar=5)["rows"]
        wanted = [row for row in whole if row["bars"][0]["number"] <= 5 <= row["bars"][-1]["number"]]
        for drawn, same in zip(part, wanted, strict=True):
            assert re.findall("data-note=.*?>", drawn["svg"]) == re.findall("data-note=.*?>", same["svg"])
            for bar, other in zip(drawn["bars"], same["bars"], strict=True):
                assert [s["note"] for s in bar["symbols"]] == [s["note"] for s in other["symbols"]]
                # Verovio spaces a stretch by itself a hair differently; a twentieth of a stave is less than seen.
                places = [[bar["right"], *(s["x"] for s in bar["symbols"])] for bar in (bar, other)]
                assert places[0] == pytest.approx(places[1], abs=4)

    def test_the_page_in_sounding_pitch_shows_what_sounds(self, page):
        notes = [note(0, 4, 65)]
        written, sounding = (self.draft(page, notes, pitch=pitch)["notes"][0] for pitch in ("written", "sounding"))
        assert written["written"] == sounding["written"] == "G4"
        assert written["sounding"] == sounding["sounding"] == "F4"

    def test_the_breath_falls_while_a_note_is_held(self, page):
        notes = self.draft(page, [note(0, 4, 65), note(4, 4, 65), note(12, 1, 65)])["notes"]
        assert 1 > notes[0]["air"] > notes[1]["air"]
        assert (notes[1]["breathed"], notes[2]["breathed"]) == (0, 1)  # four beats of rest are 2.4 s

    def test_a_note_off_the_instrument_is_a_remark_and_a_zone(self, page):
        drawn = self.draft(page, [note(0, 1, 30), note(2, 1, 67)])
        assert [n["zone"] for n in drawn["notes"]] == ["below", "comfortable"]
        assert drawn["remarks"][0]["severity"] == "stop"

    def test_a_way_out_that_a_remark_names_can_be_done_to_the_draft(self, page):
        """Twenty quarters of 0.6 s without a breath are more than the flugelhorn's tank and reserve of 10.5 s."""
        notes = [note(i, 1, 65 + i % 3) for i in range(20)]
        (remark,) = [r for r in self.draft(page, notes)["remarks"] if r["kind"] == "breath"]
        assert (remark["severity"], len(remark["fixes"])) == ("stop", 2)
        for fix in remark["fixes"]:
            answer = page.post(f"{JOB}/draft/edit", json={"notes": notes, "edit": fix["edit"]})
            left = self.draft(page, answer.json())["remarks"]
            assert not [r for r in left if r["severity"] == "stop"]
        refused(page.post(f"{JOB}/draft/edit", json={"notes": notes, "edit": "juggle 1"}), 422, "not an edit")

    def test_the_lip_of_a_brass_player_has_a_budget(self, page):
        """Eight notes of 0.6 s in the middle of the range: their time, and the rest of two minutes."""
        (budget,) = self.draft(page, [note(2 * i, 1, 64) for i in range(8)])["budgets"]
        assert (budget["kind"], budget["over"]) == ("lip", False)
        assert budget["used"] == pytest.approx(8 * 0.6, rel=0.01)
        assert budget["allowed"] == pytest.approx(120 - 8 * 0.6, rel=0.01)

    def test_help_for_the_openings_is_in_written_pitch_and_guesses_no_tune(self, page):
        helps = page.get(f"{JOB}/openings/help").json()
        assert helps
        assert all(one["sung_before"] is None for one in helps)
        assert all(one["seconds"] > 0 and one["breaths"] == pytest.approx(one["seconds"] / 7.0) for one in helps)

    def test_zones_meet_at_the_instrument_s_own_limits(self):
        horn = find_instrument("flugelhorn")
        edges = (horn.low - 1, horn.low, horn.comfortable_low, horn.comfortable_high, horn.comfortable_high + 1)
        assert [horn.zone(pitch) for pitch in edges] == ["below", "low", "comfortable", "comfortable", "high"]
        assert (horn.zone(horn.high), horn.zone(horn.high + 1)) == ("ask high", "above")

    def test_more_notes_than_a_beat_can_hold_are_refused_in_words(self, page):
        crowd = [note(3 + i / 18, 0.05) for i in range(9)]
        answer = page.post(f"{JOB}/draft", json={"notes": crowd})
        refused(answer, 422, "begin together")


class TestVersions:
    def test_each_tells_what_it_changed(self, page):
        assert page.get(f"{JOB}/lines").json()[0]["changes"] == []
        notes = page.get(f"{JOB}/line").json()["notes"]
        notes[5]["pitch"] += 2
        del notes[1]
        page.post(f"{JOB}/line", json={"notes": notes})
        newest, first = page.get(f"{JOB}/lines").json()
        assert (newest["version"], newest["notes"], first["version"], first["notes"]) == (2, 6, 1, 7)
        assert newest["changes"] == ["Bar 2: A4 taken out.", "Bar 5: D5 becomes E5."]
        assert page.get(f"{JOB}/lines/2/difference/1").json() == ["Bar 2: A4 added.", "Bar 5: E5 becomes D5."]
        assert page.get(f"{JOB}/lines/1/difference/1").json() == []

    def test_an_older_version_can_be_gone_on_from(self, page):
        page.post(f"{JOB}/line", json={"notes": WRITTEN})
        old = page.get(f"{JOB}/line?version=1").json()
        assert (old["version"], [n["pitch"] for n in old["notes"]]) == (1, [pitch for _, _, pitch in NOTES])

    @pytest.mark.parametrize("path", ["/lines/1/difference/7", "/line?version=9"])
    def test_a_version_that_is_not_there(self, page, path):
        refused(page.get(JOB + path), 422, "no version")

    def test_a_job_without_a_line_has_the_song_to_write_on(self, page, folder):
        folder.save("line", "none", lines=())
        sheet = page.get(f"{JOB}/line").json()
        assert (sheet["version"], sheet["notes"], sheet["signature"]) == (0, [], "4/4")
        assert page.get(f"{JOB}/lines").json() == []

    def test_checking_says_what_it_sees_and_notes_it(self, page, folder):
        checked = page.post(f"{JOB}/check").json()
        assert checked["version"] == 1
        assert all(remark["sentence"].endswith(".") for remark in checked["remarks"])
        assert JobFolder.open(folder.root).job.last_made("check") is not None


class TestStand:
    def test_the_marker_is_at_each_note_when_it_sounds(self, page):
        part = page.get(f"{JOB}/stand?ratio=1.78").json()
        times = {}
        for row in part["rows"]:
            x_to_s = {mark["x"]: mark["at_s"] for mark in row["marks"]}
            for symbol in (symbol for bar in row["row"]["bars"] for symbol in bar["symbols"]):
                times.setdefault(symbol["note"], x_to_s[symbol["x"]])
        # The notes are written exactly where they are played, so nothing is rounded on the way.
        assert [times[i] for i in range(len(NOTES))] == pytest.approx(
            [BEAT_S * beat for beat, _, _ in NOTES], abs=1e-6
        )

    def test_the_marker_only_goes_forward_and_from_row_to_row_without_a_gap(self, page):
        rows = page.get(f"{JOB}/stand").json()["rows"]
        for row in rows:
            assert all(a["at_s"] < b["at_s"] and a["x"] < b["x"] for a, b in pairwise(row["marks"]))
        for before, after in pairwise(rows):
            assert before["marks"][-1]["at_s"] == pytest.approx(after["marks"][0]["at_s"])

    def test_a_song_that_slows_down_is_followed_by_its_own_beats(self, page, folder):
        beats_s = drift(folder)
        part = page.get(f"{JOB}/stand").json()
        for bar in part["bars"][:6]:
            first = 4 * (bar["number"] - 1)
            assert bar["beats_s"] == pytest.approx(beats_s[first : first + 5])
        starts = [row["marks"][0]["at_s"] for row in part["rows"]]
        firsts = [row["row"]["bars"][0]["number"] for row in part["rows"]]
        assert starts == pytest.approx([beats_s[4 * (bar - 1)] for bar in firsts])

    def test_rests_say_where_to_come_in(self, page):
        silences = page.get(f"{JOB}/stand").json()["silences"]
        assert [(s["first_bar"], s["last_bar"], s["entry_bar"], s["letter"]) for s in silences] == [
            (1, 1, 2, ""),
            (4, 4, 5, ""),
        ]

    def test_the_last_rest_has_no_entry_and_a_long_one_is_one_symbol(self, page):
        page.post(f"{JOB}/line", json={"notes": [note(0, 1, 65)]})
        part = page.get(f"{JOB}/stand").json()
        assert part["silences"] == [{"first_bar": 2, "last_bar": 6, "entry_bar": None, "letter": ""}]
        assert max(bar["bars"] for row in part["rows"] for bar in row["row"]["bars"]) > 1

    @pytest.mark.parametrize("ratio", [0.46, 1.33, 16 / 9, 2.4])
    def test_a_stave_is_an_eighth_of_a_wide_screen(self, ratio):
        share = ratio / row_width_staves(ratio)
        # On an upright screen no row would fit so; there it is as large as the width allows.
        assert share >= 1 / 8 or ratio < 1.2

    def test_a_new_version_is_on_the_stand_at_once(self, page):
        assert page.get(f"{JOB}/stand").json()["version"] == 1
        page.post(f"{JOB}/line", json={"notes": WRITTEN})
        assert page.get(f"{JOB}/stand").json()["version"] == 2

    def test_without_a_line_there_is_no_part(self, page, folder):
        folder.save("line", "none", lines=())
        refused(page.get(f"{JOB}/stand"), 422, "no line yet")
        assert page.get(f"{JOB}/stand?ratio=0").status_code == 422


class TestWork:
    def test_the_mock_up_and_the_part_are_made(self, folder):
        made = mockup_work(root=folder.root, line_db=None, progress=silent)
        assert folder.path(made["folder"]).is_dir()
        made = part_work(root=folder.root, order=PartOrder(print="large").model_dump(), progress=silent)
        assert all(folder.path(f"{made['folder']}/{name}").is_file() for name in made["files"])

    def test_without_a_line_no_work_is_begun(self, page, folder):
        folder.save("line", "none", lines=())
        refused(page.post(f"{JOB}/mockup", json={}), 422, "no line yet")
        refused(page.post(f"{JOB}/part"), 422, "no line yet")
