"""MIDI in and out; files are built with mido by the Standard MIDI File's own rules and re-read with pretty_midi."""

import io

import mido
import numpy as np
import pretty_midi
import pytest

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.midi import midi_bytes, place, read_midi, write_midi

PPQ = 480


def line_of(*notes):
    return Line(tuple(notes), (Phrase(0, 0, len(notes) - 1),))


def save(path, notes, *, tempo=((0, 500_000),), meta=(), ppq=PPQ):
    """Write (start tick, end tick, pitch) triples with mido."""
    events = [(t, mido.MetaMessage("set_tempo", tempo=us)) for t, us in tempo] + [(0, m) for m in meta]
    for start, end, pitch in notes:
        events += [(start, mido.Message("note_on", note=pitch, velocity=70))]
        events += [(end, mido.Message("note_off", note=pitch))]
    track, last = mido.MidiTrack(), 0
    for tick, message in sorted(events, key=lambda e: (e[0], e[1].type == "note_on")):
        track.append(message.copy(time=tick - last))
        last = tick
    midi = mido.MidiFile(type=0, ticks_per_beat=ppq)
    midi.tracks.append(track)
    midi.save(path)
    return path


def test_seconds_follow_the_files_own_tempo_map(tmp_path):
    """One quarter at 120 lasts 0.5 s, two more at 60 last 2 s."""
    path = save(
        tmp_path / "a.mid", [(PPQ, 3 * PPQ, 60), (3 * PPQ, 4 * PPQ, 62)], tempo=((0, 500_000), (PPQ, 1_000_000))
    )
    notes = read_midi(path).notes
    assert [(n.start_s, n.end_s, n.pitch) for n in notes] == [(0.5, 2.5, 60), (2.5, 3.5, 62)]


def test_reads_as_pretty_midi_does(tmp_path):
    rng = np.random.default_rng(3)
    starts = np.cumsum(rng.integers(100, 900, 40))
    tempo = tuple(
        (int(t), int(us)) for t, us in zip(range(0, 20_000, 2_000), rng.integers(3e5, 9e5, 10), strict=True)
    )
    path = save(tmp_path / "a.mid", [(int(s), int(s) + 90, 60 + int(s) % 12) for s in starts], tempo=tempo)
    reference = pretty_midi.PrettyMIDI(str(path)).instruments[0].notes
    ours = read_midi(path).notes
    assert np.allclose([n.start_s for n in ours], [n.start for n in reference], atol=1e-9)
    assert np.allclose([n.end_s for n in ours], [n.end for n in reference], atol=1e-9)


def test_legato_overlap_is_cut_and_said(tmp_path):
    performance = read_midi(save(tmp_path / "a.mid", [(0, 520, 60), (480, 960, 62)]))
    assert [n.end_tick for n in performance.notes] == [480, 960]
    assert "1" in performance.remarks[0]


@pytest.mark.parametrize(
    ("notes", "match"),
    [
        ([(0, 480, 60), (3840, 4320, 60), (3840, 4320, 64)], r"0:04\.000, bar 3 of the file.*one note at a time"),
        ([(0, 1920, 60), (480, 960, 67)], "two notes at once"),
        ([(0, 480, 72), (480, 960, 74), (960, 1440, 72), (960, 980, 24)], "keyswitch"),
        ([], "no notes"),
        ([(480, 480, 60)], "no notes"),
    ],
)
def test_what_is_no_single_line_is_refused(tmp_path, notes, match):
    with pytest.raises(InputError, match=match):
        read_midi(save(tmp_path / "a.mid", notes))


@pytest.mark.parametrize(
    "content", [b"", b"RIFF1234WAVE", b"not a midi file at all", b"MThd", b"MThd\0\0\0\6\0\0\0\1\1\xe0"]
)
def test_what_is_no_midi_file_is_refused(tmp_path, content):
    path = tmp_path / "a.mid"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"a\.mid"):
        read_midi(path)


def test_missing_cut_off_or_in_film_frames(tmp_path):
    with pytest.raises(InputError, match="no file"):
        read_midi(tmp_path / "none.mid")
    with pytest.raises(InputError, match="no file"):
        read_midi(tmp_path)
    whole = save(tmp_path / "a.mid", [(0, 480, 60)] * 1 + [(960, 1440, 62)]).read_bytes()
    (tmp_path / "b.mid").write_bytes(whole[:-9])
    with pytest.raises(InputError, match="damaged or cut off"):
        read_midi(tmp_path / "b.mid")
    (tmp_path / "c.mid").write_bytes(whole[:12] + b"\xe7\x28" + whole[14:])
    with pytest.raises(InputError, match="film frames"):
        read_midi(tmp_path / "c.mid")


EIGHTHS = [(i * 240, i * 240 + 200, 60 + i % 5) for i in (0, 1, 2, 4, 6, 7, 8, 11, 12, 13, 14, 16)]
"""At PPQ 480: on the eighths of the file's own bars."""


def by_clock(notes, tempo_us, at_s):
    """The same rhythm, its first tick moved to `at_s` seconds."""
    shift = round(at_s * 1e6 / tempo_us * PPQ)
    return [(a + shift, b + shift, p) for a, b, p in notes]


@pytest.mark.parametrize("bar_1_s", [0.413, 4.13, 2.613])
def test_auto_takes_the_reading_in_which_the_notes_lie_on_the_beat(tmp_path, bar_1_s):
    grid = Grid.steady(120, bar_1_s, Meter())
    written = place(read_midi(save(tmp_path / "a.mid", EIGHTHS)), grid)
    played = place(read_midi(save(tmp_path / "b.mid", by_clock(EIGHTHS, 500_000, bar_1_s))), grid)
    assert (written.start, played.start) == ("bar-1", "guide")
    expected = [start / PPQ for start, _, _ in EIGHTHS]
    # A tick is 1/480 beat; `by_clock` rounds to one.
    assert np.allclose([n.onset_beat for n in written.notes], expected, atol=1e-9)
    assert np.allclose([n.onset_beat for n in played.notes], expected, atol=1 / PPQ)


@pytest.mark.parametrize("tempo_us", [500_000, 333_333], ids=["dotted quarter as quarter", "true quarters"])
def test_auto_knows_a_dotted_quarter_beat_in_either_spelling(tmp_path, tempo_us):
    """12/8 at 120 dotted quarters a minute is 180 quarters a minute, or 120 where a program has no dotted beat."""
    grid = Grid.steady(120, 4.13, Meter.from_signature("12/8"))
    per_beat = PPQ if tempo_us == 500_000 else PPQ * 3 // 2
    thirds = [0, 1, 2, 3, 5, 6, 8, 9, 10, 11, 12, 15]
    notes = [(i * per_beat // 3, i * per_beat // 3 + 100, 60) for i in thirds]
    placed = place(read_midi(save(tmp_path / "a.mid", notes, tempo=((0, tempo_us),))), grid)
    assert placed.start == "bar-1"
    assert np.allclose([n.onset_beat for n in placed.notes], np.asarray(thirds) / 3, atol=1e-9)


def test_auto_keeps_to_the_clock_where_the_tempo_is_another_or_bar_1_tells_nothing(tmp_path):
    performance = read_midi(save(tmp_path / "a.mid", EIGHTHS))
    other = place(performance, Grid.steady(93, 0.7, Meter()))
    assert other.start == "guide"
    assert "120.00" in other.sentence
    assert place(performance, Grid.steady(120, 4.0, Meter())).start == "guide"


def test_a_start_said_by_hand_wins(tmp_path):
    performance = read_midi(save(tmp_path / "a.mid", EIGHTHS))
    grid = Grid.steady(93, 0.7, Meter())
    assert place(performance, grid, start="bar-1").notes[1].onset_beat == 0.5
    assert place(performance, grid, start="guide").notes[0].onset_beat == pytest.approx(-0.7 * 93 / 60)
    with pytest.raises(InputError, match="auto, guide or bar-1"):
        place(performance, grid, start="middle")  # type: ignore[arg-type]


def drifting():
    """A grid with an anchor per beat whose tempo wanders by some 6 %, for about 5 minutes."""
    rng = np.random.default_rng(11)
    tempo = 88 + 3 * np.sin(np.arange(440) / 30) + rng.normal(0, 1.0, 440)
    return Grid.from_beats(0.31 + np.cumsum(60 / tempo), 4, Meter())


@pytest.mark.parametrize(
    "grid",
    [
        Grid.steady(58.63, 4.507, Meter.from_signature("12/8")),
        Grid.steady(119.97, 0.0, Meter()),
        Grid.steady(173.31, 0.05, Meter(3)),
        Grid.steady(61.7, 2.04, Meter()),
        drifting(),
    ],
    ids=["compound", "at once", "just after zero", "half a bar in", "drifting"],
)
def test_written_file_is_in_time_by_its_own_tempo_map(tmp_path, grid):
    """As pretty_midi computes seconds; half a tick is at most 0.27 ms here, tempi are rounded to 1 us a quarter."""
    first = float(np.ceil(grid.sec_to_beat(0.02) * 3) / 3)
    onsets = first + np.cumsum(np.random.default_rng(5).uniform(0.2, 3.0, 260))
    line = line_of(*(Note(float(b), 0.15, 60 + i % 20, 64) for i, b in enumerate(onsets)))
    path = tmp_path / "line.mid"
    write_midi(path, line, grid, title="Łódź – ferry", program=57)
    reference = pretty_midi.PrettyMIDI(str(path))
    notes = reference.instruments[0].notes
    assert reference.instruments[0].program == 56
    assert [n.pitch for n in notes] == [n.pitch for n in line.notes]
    assert np.max(np.abs([n.start for n in notes] - grid.beat_to_sec(onsets))) < 1e-3
    assert np.max(np.abs([n.end for n in notes] - grid.beat_to_sec(onsets + 0.15))) < 1e-3


@pytest.mark.parametrize("grid", [Grid.steady(58.63, 4.507, Meter.from_signature("12/8")), drifting()])
def test_bar_lines_of_the_written_file_are_the_songs(grid):
    """Downbeats as pretty_midi finds them from metre and tempo map, against the grid's bars."""
    line = line_of(*(Note(float(b), 1.0, 60) for b in range(0, 100, 2)))
    midi = mido.MidiFile(file=io.BytesIO(midi_bytes(line, grid, title="t", program=1)))
    quarters_per_bar = float(grid.meter.bar_quarters)
    assert [m.text for m in midi.tracks[0] if m.type == "marker"] == ["Guide starts", "Bar 1"]
    target = io.BytesIO()
    midi.save(file=target)
    reference = pretty_midi.PrettyMIDI(io.BytesIO(target.getvalue()))
    ticks_per_bar = round(quarters_per_bar * midi.ticks_per_beat)
    bar_times = np.asarray([reference.tick_to_time(i * ticks_per_bar) for i in range(1, 20)])
    first_bar = round(float(grid.sec_to_beat(bar_times[0])) / grid.meter.beats_per_bar) + 1
    assert np.max(np.abs(bar_times - [grid.bar_to_sec(first_bar + i) for i in range(19)])) < 1e-3
    tempi = [m.tempo for m in midi.tracks[0] if m.type == "set_tempo"]
    assert max(tempi) / min(tempi) < 3.0


def test_written_and_read_back_it_is_the_same_line(tmp_path):
    grid = Grid.steady(58.63, 4.507, Meter.from_signature("12/8"))
    line = line_of(Note(-0.333, 0.3, 70, 64), Note(0.0, 1.25, 72, 90), Note(1.25, 0.5, 71, 1))
    path = tmp_path / "line.mid"
    write_midi(path, line, grid, title="t", program=57)
    placed = place(read_midi(path), grid)
    assert placed.start == "guide"
    # Half a tick is 0.26 ms at this tempo, 0.00026 beats.
    assert np.allclose([n.onset_beat for n in placed.notes], [n.onset_beat for n in line.notes], atol=5e-4)
    assert np.allclose([n.end_beat for n in placed.notes], [n.end_beat for n in line.notes], atol=1e-3)
    assert [n.velocity for n in placed.notes] == [64, 90, 1]


def test_a_line_before_the_guide_or_a_wrong_program_is_refused():
    grid = Grid.steady(120, 0.5, Meter())
    with pytest.raises(InputError, match="before the guide"):
        midi_bytes(line_of(Note(-2.0, 1.0, 60)), grid, title="t", program=1)
    with pytest.raises(InputError, match="program=0"):
        midi_bytes(line_of(Note(0.0, 1.0, 60)), grid, title="t", program=0)
