"""Corrections of chords, letters and the singer, on a made-up map whose content is plain."""

from dataclasses import replace

import pytest

from obbligato.errors import InputError
from obbligato.job.correcting import corrected_voice, with_corrected_form
from obbligato.job.model import Corrections, SingerCorrection
from obbligato.job.places import parse_place, parse_stretch
from obbligato.job.statements import Statements, stated
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan, KeySpan, SectionSpan, Span
from obbligato.sound.facts import SourceFacts

GRID = Grid.steady(120.0, 2.0, Meter())  # bars of 2 s, bar 1 at 2 s
END_S = 34.0


@pytest.fixture
def song():
    facts = SourceFacts(
        path="guide.wav", sha256="0" * 64, container="wav", codec="pcm", sample_rate=48000, channels=1, bit_depth=16,
        duration_s=END_S, frames=int(48000 * END_S), lead_silence_s=0.0, encoder_delay_samples=None,
        integrated_lufs=-14.0, true_peak_dbtp=-1.0, clipped_samples=0, warnings=(),
    )  # fmt: skip
    beats = GRID.beats_in(0.0, END_S)
    return SongMap(
        source=facts,
        tempo=Tempo(120.0, True, 0.9, 5.0, 0.0, (), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=None,
        grid=GridFinding(2.0, tuple(GRID.beat_to_sec(beats).tolist()), ()),
        tuning=Tuning(440.0, 0.0),
        keys=(KeySpan(0.0, END_S, "C", "major", 0.9),),
        chords=(ChordSpan(2.0, 10.0, "C:maj"), ChordSpan(10.0, 18.0, "F:maj"), ChordSpan(18.0, 34.0, "G:7")),
        sections=(SectionSpan(2.0, 18.0, "A"), SectionSpan(18.0, 34.0, "B")),
        voice=(Span(4.0, 8.0), Span(12.0, 16.0)),
        openings=(),
    )


def corrected(song, **said):
    fixes = stated(Corrections(), Statements(**said), lambda _: song)
    return with_corrected_form(song, fixes)


def test_a_chord_stands_from_its_beat_to_the_next_change(song):
    # Bar 3 beat 3 is at 2 + 2 * 2 + 1 = 7 s; the next change that was heard is at 10 s.
    assert corrected(song, chords=("3:3=Dm7",)).chords[:3] == (
        ChordSpan(2.0, 7.0, "C:maj"),
        ChordSpan(7.0, 10.0, "D:min7"),
        ChordSpan(10.0, 18.0, "F:maj"),
    )


def test_a_chord_said_where_one_was_heard_replaces_it(song):
    chords = corrected(song, chords=("5=Fm",)).chords
    assert [c.label for c in chords] == ["C:maj", "F:min", "G:7"]
    assert (chords[1].start_s, chords[1].end_s) == (10.0, 18.0)


def test_what_was_said_of_a_chord_last_holds_and_nothing_said_is_what_was_heard(song):
    assert [c.label for c in corrected(song, chords=("5=Fm", "5=Dm")).chords] == ["C:maj", "D:min", "G:7"]
    assert corrected(song, chords=("5=Fm", "5=")).chords == song.chords


def test_a_letter_begins_a_section_and_none_ends_one(song):
    assert corrected(song, sections=("5=C",)).sections == (
        SectionSpan(2.0, 10.0, "A"),
        SectionSpan(10.0, 18.0, "C"),
        SectionSpan(18.0, 34.0, "B"),
    )
    assert corrected(song, sections=("9=",)).sections == (SectionSpan(2.0, 34.0, "A"),)
    assert [s.label for s in corrected(song, sections=("9=A",)).sections] == ["A", "A2"]


def test_the_singer_is_added_and_taken_away(song):
    # Bars 2-3 are 4 to 8 s; bar 6 beat 2 alone is 12.5 to 13 s.
    assert corrected(song, singer=("2-3=no",)).voice == (Span(12.0, 16.0),)
    assert corrected(song, singer=("6:2-6:2=no",)).voice == (Span(4.0, 8.0), Span(12.0, 12.5), Span(13.0, 16.0))
    assert corrected(song, singer=("4-5=yes",)).voice == (Span(4.0, 16.0),)


def test_the_later_word_on_the_singer_holds():
    fixes = [
        SingerCorrection(start_s=0.0, end_s=4.0, sings=True),
        SingerCorrection(start_s=1.0, end_s=2.0, sings=False),
    ]
    assert corrected_voice((), fixes) == (Span(0.0, 1.0), Span(2.0, 4.0))


def test_a_corrected_chord_stays_where_it_sounds_when_bar_1_moves(song):
    fixes = stated(Corrections(), Statements(chords=("3:3=Dm7",)), lambda _: song)
    fixes = stated(fixes, Statements(bar_1="0:04"), lambda _: song)
    later = replace(song, grid=replace(song.grid, bar_1_s=4.0))
    assert with_corrected_form(later, fixes).chords[1] == ChordSpan(7.0, 10.0, "D:min7")


def test_what_is_confirmed_is_in_doubt_no_more(song):
    doubtful = replace(song, meter=replace(song.meter, confidence=0.2))
    assert corrected(doubtful, confirmed=("meter",)).meter.confidence == 1.0
    assert corrected(doubtful, confirmed=("keys",)).meter.confidence == 0.2


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"chords": ("3:5=C",)}, "no beat 5"),
        ({"chords": ("400=C",)}, "no bar 400"),
        ({"chords": ("3:3",)}, "does not say where"),
        ({"sections": ("3:2=B",)}, "begins with a bar"),
        ({"sections": ("3=<b>",)}, "a letter or a short word"),
        ({"singer": ("3-5=maybe",)}, "yes or no"),
        ({"singer": ("5-3=no",)}, "ends before it begins"),
        ({"confirmed": ("mood",)}, "cannot be confirmed"),
    ],
)
def test_what_cannot_be_meant_is_refused(song, said, message):
    with pytest.raises(InputError, match=message):
        corrected(song, **said)


def test_places_before_bar_1_are_read():
    assert parse_place("-1:2") == (-1, 2.0)
    assert parse_stretch("-2-1") == ((-2, None), (1, None))
