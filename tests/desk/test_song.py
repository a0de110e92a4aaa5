"""The chart as data, the line engraved under it, and corrections from the page, on a made-up map."""

import re
import threading
from dataclasses import replace
from itertools import pairwise

import pytest

from obbligato.desk.chart_data import chart_view
from obbligato.desk.chart_words import asked
from obbligato.desk.song_work import MapCorrection, apply_correction
from obbligato.desk.staves_data import chart_rows, engrave_rows, staves_view
from obbligato.errors import InputError
from obbligato.job.mapping import corrections, song_map
from obbligato.job.store import JobFolder
from obbligato.job.writing import current_line, instrument_of

BAR_S = 2.4


@pytest.fixture
def folder(mapped_jobs):
    return JobFolder.open(mapped_jobs / "NightFerry")


def test_the_chart_tells_bars_in_both_pitches(folder):
    chart = chart_view(folder)
    assert chart.state == "whole"
    assert [bar.number for bar in chart.bars] == [1, 2, 3, 4, 5, 6, 7]
    # A flugelhorn in B flat is written a whole tone above what it sounds (any orchestration handbook).
    assert [(c.sounding, c.written) for bar in chart.bars[:4] for c in bar.chords] == [
        ("C", "D"),
        ("Am7", "Bm7"),
        ("F", "G"),
        ("G7", "A7"),
    ]
    assert (chart.bars[0].key.sounding, chart.bars[0].key.written) == ("C major", "D major")
    assert [bar.section for bar in chart.bars[:6]] == ["A", "", "", "B", "", ""]
    assert chart.line.notes[0].written == chart.line.notes[0].pitch + 2
    assert [note.bar for note in chart.line.notes] == [2, 2, 2, 3, 3, 5, 6]


def test_the_singer_and_openings_lie_in_their_share_of_a_bar(folder):
    bars = chart_view(folder).bars
    assert (bars[0].voice, bars[1].voice, bars[2].voice) == ([(0.0, 1.0)], [(0.0, 0.5)], [])
    assert [(part.index, part.start, part.end) for part in bars[1].openings] == [(0, 0.5, 1.0)]
    assert [(part.index, part.start, part.end) for part in bars[2].openings] == [(0, 0.0, 1.0)]


def test_what_is_in_doubt_is_asked_until_it_is_answered(folder):
    (question,) = chart_view(folder).questions
    assert question.about == "keys"
    assert "written D major" in question.text
    apply_correction(folder, MapCorrection.model_validate(question.choices[0].correction))
    assert chart_view(folder).questions == []
    apply_correction(folder, MapCorrection(undo_last=True))
    # The other answer is the relative minor of C major (any book of theory).
    apply_correction(folder, MapCorrection.model_validate(question.choices[1].correction))
    assert chart_view(folder).bars[0].key.sounding == "A minor"


def test_a_doubtful_tempo_is_asked_with_the_likeliest_other_counts(folder):
    song = song_map(folder)
    unsure = replace(song.tempo, confidence=0.3, alternatives=(200.0, 50.0, 66.7, 150.0))
    (question, _) = asked(replace(song, tempo=unsure), instrument_of(folder))
    assert [answer.label for answer in question.choices] == [
        "Yes, 100.0",
        "Twice as fast, 200.0",
        "Half as fast, 50.0",
        "Otherwise, 66.7",
    ]
    apply_correction(folder, MapCorrection.model_validate(question.choices[3].correction))
    assert (chart_view(folder).tempo.bpm, chart_view(folder).tempo.alternatives) == (66.7, [])
    wandering = replace(song, tempo=replace(unsure, steady=False))
    assert len(asked(wandering, instrument_of(folder))[0].choices) == 3


def test_a_written_chord_and_key_are_kept_as_they_sound(folder):
    apply_correction(folder, MapCorrection(chords=["2:3=Gm7"], keys=["1=D minor"], pitch="written"))
    chart = chart_view(folder)
    assert [(c.beat, c.sounding, c.written) for c in chart.bars[1].chords] == [(0, "Am7", "Bm7"), (2, "Fm7", "Gm7")]
    assert chart.bars[0].key.sounding == "C minor"
    assert chart.corrected.can_undo


def test_openings_follow_the_singer(folder):
    apply_correction(folder, MapCorrection(singer=["3=yes"]))
    chart = chart_view(folder)
    assert (chart.openings[0].first_bar, chart.openings[0].last_bar) == (2, 2)
    assert chart.openings[0].beats == pytest.approx(2.0)


def test_two_corrections_at_once_are_both_kept(folder):
    places = [f"{bar}:{beat}=Dm7" for bar in range(1, 5) for beat in (1, 3)]
    threads = [
        threading.Thread(target=apply_correction, args=(JobFolder.open(folder.root), MapCorrection(chords=[place])))
        for place in places
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(corrections(folder).chords) == len(places)


def test_a_correction_that_cannot_be_meant_changes_nothing(folder):
    before = chart_view(folder)
    with pytest.raises(InputError, match="no bar 90"):
        apply_correction(folder, MapCorrection(chords=["90=C"]))
    assert chart_view(folder) == before


@pytest.mark.parametrize("per_row", [2, 4, 8])
@pytest.mark.parametrize("pitch", ["written", "sounding"])
def test_the_line_is_engraved_in_the_rows_of_the_chart(folder, per_row, pitch):
    rows = staves_view(folder, per_row=per_row, pitch=pitch).rows
    of_chart = chart_rows(song_map(folder), per_row)
    assert {(row.first_bar, row.last_bar) for row in rows} <= set(of_chart)
    notes = [note.index for row in rows for note in row.notes]
    assert sorted(set(notes)) == list(range(7))
    for row in rows:
        assert set(map(int, re.findall(r'data-note="(\d+)"', row.svg))) == {note.index for note in row.notes}
        assert not re.search(r"#(000|[0-9a-f]{6})\b|<text", row.svg)


def test_bars_are_of_one_width_and_notes_stand_where_they_sound(folder):
    song, line = song_map(folder), current_line(folder).line
    row = next(r for r in engrave_rows(line, song, instrument_of(folder), per_row=4) if r.first_bar == 1)
    widths = [b - a for a, b in pairwise(row.bars_x)]
    # Even to one twentieth, beside the first bar: its note stands nearer to the key than others to a bar line.
    assert max(widths[1:]) < 1.05 * min(widths[1:])
    bar = sum(widths) / len(widths)
    heads = {note.index: (note.x - row.bars_x[0]) / bar for note in row.notes}
    for index in range(1, 5):
        beats = line.notes[index].onset_beat - line.notes[0].onset_beat
        # A share of a bar: half a notehead is 0.02 of it, an accidental takes about one head of room.
        assert heads[index] - heads[0] == pytest.approx(beats / 4, abs=0.04)


def test_engraving_works_from_any_thread(folder):
    song, line, found = song_map(folder), current_line(folder).line, []
    for _ in range(2):
        thread = threading.Thread(target=lambda: found.append(engrave_rows(line, song, instrument_of(folder))))
        thread.start()
        thread.join()
    assert found[0] == found[1] != []


def test_only_the_tempo_is_told_while_listening_goes_on(folder):
    partial = folder.path("guide/findings.json").read_bytes()
    folder.path("guide/findings.json").unlink()
    assert chart_view(folder).state == "none"
    heard = partial[partial.index(b'"findings": ') + len(b'"findings": ') : -1]
    folder.keep("heard-so-far.json", heard)
    chart = chart_view(folder)
    assert (chart.state, len(chart.bars), chart.line, chart.remarks) == ("tempo", 7, None, [])


def test_the_page_is_answered_and_corrected_over_http(mapped_desk):
    job = "/api/jobs/NightFerry"
    status, chart = mapped_desk.call("GET", f"{job}/chart")
    assert (status, chart["state"], len(chart["bars"])) == (200, "whole", 7)
    assert mapped_desk.call("GET", f"{job}/staves?per_row=2&pitch=sounding")[0] == 200
    assert mapped_desk.call("GET", f"{job}/staves?per_row=3")[0] == 422
    status, answer = mapped_desk.call("POST", f"{job}/map", {"sections": ["2=C"]})
    assert (status, answer["task"]) == (200, None)
    assert mapped_desk.call("GET", f"{job}/chart")[1]["bars"][1]["section"] == "C"
    for body in ({"bpm": 0}, {"chords": ["1=Hx"]}, {"taps_s": [1, 2]}, {"singer": ["a"]}, {"no": 1}, {"bpm": "NaN"}):
        status, answer = mapped_desk.call("POST", f"{job}/map", body)
        assert status == 422, body
        assert answer["error"]["message"]
    status, answer = mapped_desk.call("POST", f"{job}/map", {"double": True})
    assert (status, answer["task"]["state"]) == (202, "running")
