import numpy as np
import pyloudnorm
import pytest
from tests.play.conftest import SR, strongest_hz, tone

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.marks import LEVELS, NoteMarks
from obbligato.play.mockup import CEILING_DBTP, blend, render_line
from obbligato.sound.audio import Audio
from obbligato.sound.peaks import true_peak_dbtp

GRID = Grid.steady(60.0, 1.0, Meter())
FLUGELHORN = find_instrument("flugelhorn")


def line_of(*notes: Note) -> Line:
    return Line(notes, (Phrase(0, 0, len(notes) - 1),))


def lufs(audio: Audio) -> float:
    """Loudness by an independent implementation of BS.1770-4 (pyloudnorm, Steinmetz & Reiss, AES 2021)."""
    return float(pyloudnorm.Meter(audio.sr).integrated_loudness(audio.y.T.astype(np.float64)))


def part(audio: Audio, start_s: float, end_s: float) -> Audio:
    return Audio(audio.y[:, round(start_s * audio.sr) : round(end_s * audio.sr)], audio.sr)


@pytest.mark.parametrize("line_db", [-9.0, -3.0, 0.0, 4.0])
@pytest.mark.parametrize("channels", [1, 2])
def test_the_line_lies_as_far_from_the_guide_as_stated(line_db: float, channels: int) -> None:
    guide = tone(300.0, 6.0, -30.0, channels=channels)
    made = blend(guide, tone(500.0, 6.0, -12.0), line_db=line_db)
    wide = Audio(np.repeat(made.line.y, channels, axis=0), SR)
    assert made.lowered_db == 0.0
    # 0.1 LU is the tolerance of EBU Tech 3341 for meters.
    assert lufs(wide) - lufs(guide) == pytest.approx(line_db, abs=0.1)


def test_the_guide_is_measured_only_where_the_line_sounds() -> None:
    # Guide: 5 s soft (-34 dBFS), then 5 s loud (-14 dBFS). The line sounds from 1 to 4 s only.
    soft, loud = tone(300.0, 5.0, -34.0), tone(300.0, 5.0, -14.0)
    guide = Audio(np.concatenate([soft.y, loud.y], axis=1), SR)
    y = np.zeros(10 * SR, np.float32)
    y[SR : 4 * SR] = tone(500.0, 3.0, -20.0).y[0]
    made = blend(guide, Audio(y, SR), line_db=-3.0)
    # Windows of 400 ms reach over the line's edges: those kept (within 10 LU) start up to 360 ms early, and weaken
    # the mean of the line by 10 log10(3 / 3.36) = 0.5 dB or less.
    assert lufs(part(made.line, 1.0, 4.0)) - lufs(soft) == pytest.approx(-3.0, abs=0.6)


def test_the_guide_goes_into_the_sum_unchanged() -> None:
    guide = tone(300.0, 4.0, -20.0, channels=2)
    made = blend(guide, tone(500.0, 4.0, -20.0))
    # float32 rounding of a sum below 1: 2 ** -24
    np.testing.assert_allclose(made.audio.y - made.line.y, guide.y, atol=2e-7)
    assert "the guide keeps its own level" in made.sentence


def test_a_sum_that_would_clip_is_turned_down_as_a_whole() -> None:
    guide = tone(300.0, 4.0, -0.5)
    made = blend(guide, tone(430.0, 4.0, -20.0), line_db=0.0)
    assert true_peak_dbtp(made.audio) == pytest.approx(CEILING_DBTP, abs=0.01)
    assert lufs(made.line) - (lufs(guide) - made.lowered_db) == pytest.approx(0.0, abs=0.1)
    # Two tones of nearly full scale and equal loudness peak close to 6 dB above one.
    assert 5.5 < made.lowered_db < 7.0
    assert f"{made.lowered_db:.1f} dB together" in made.sentence


def test_a_guide_that_rests_under_the_line_is_taken_as_a_whole() -> None:
    y = np.zeros(10 * SR, np.float32)
    y[5 * SR :] = tone(300.0, 5.0, -20.0).y[0]
    line = np.zeros(10 * SR, np.float32)
    line[SR : 3 * SR] = tone(500.0, 2.0, -20.0).y[0]
    made = blend(Audio(y, SR), Audio(line, SR), line_db=0.0)
    assert lufs(made.line) == pytest.approx(lufs(Audio(y, SR)), abs=0.2)


def test_inputs_stay_as_they_are() -> None:
    guide, line = tone(300.0, 2.0, -1.0), tone(430.0, 2.0, -1.0)
    before = guide.y.copy(), line.y.copy()
    blend(guide, line, line_db=3.0)
    np.testing.assert_array_equal(guide.y, before[0])
    np.testing.assert_array_equal(line.y, before[1])


@pytest.mark.parametrize(
    ("guide", "line", "words"),
    [
        (tone(300.0, 2.0, -20.0), Audio(np.zeros(2 * SR), SR), "line is silent"),
        (Audio(np.zeros(2 * SR), SR), tone(300.0, 2.0, -20.0), "guide is silent"),
        (tone(300.0, 2.0, -20.0), tone(300.0, 1.0, -20.0), "one length"),
    ],
)
def test_what_cannot_be_blended_is_refused(guide: Audio, line: Audio, words: str) -> None:
    with pytest.raises(InputError, match=words):
        blend(guide, line)


def test_the_line_sounds_on_the_guides_time_base_and_at_its_pitch() -> None:
    # Beat 2 is at 3.0 s, beat 4 at 5.0 s; A4 sounds near 440 Hz whatever the instrument's transposition.
    audio = render_line(line_of(Note(2.0, 2.0, 69)), GRID, FLUGELHORN, n_samples=7 * SR, sr=SR)
    assert not audio.y[0, : round(2.998 * SR)].any()
    assert np.abs(audio.y[0, round(3.0 * SR) : round(3.1 * SR)]).max() > 1e-3
    assert strongest_hz(audio.y[0, 3 * SR : 5 * SR], SR, 440.0) == pytest.approx(440.0, rel=0.003)
    assert np.abs(audio.y[0, round(6.5 * SR) :]).max() < 0.02 * np.abs(audio.y).max()


def test_a_marked_dynamic_is_heard_as_that_velocity_is() -> None:
    grid, flute = Grid.steady(60.0, 0.0, Meter()), find_instrument("flute")
    asked = line_of(Note(0.0, 2.0, 72, 80, NoteMarks(level="pp")), Note(3.0, 2.0, 72, 80, NoteMarks(level="ff")))
    played = line_of(Note(0.0, 2.0, 72, LEVELS["pp"]), Note(3.0, 2.0, 72, LEVELS["ff"]))
    a, b = (render_line(line, grid, flute, n_samples=6 * SR, sr=SR) for line in (asked, played))
    assert np.array_equal(a.y, b.y)


def test_a_note_is_let_go_when_the_next_begins() -> None:
    overlapping = line_of(Note(0.0, 3.0, 60), Note(1.0, 2.0, 67))
    apart = line_of(Note(0.0, 1.0, 60), Note(1.0, 2.0, 67))
    a, b = (render_line(x, GRID, FLUGELHORN, n_samples=5 * SR, sr=SR).y for x in (overlapping, apart))
    np.testing.assert_array_equal(a, b)


@pytest.mark.parametrize(("beat", "words"), [(-2.0, "before the guide begins"), (50.0, "after the guide has ended")])
def test_a_note_outside_the_guide_is_refused_with_its_place(beat: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        render_line(line_of(Note(beat, 1.0, 60)), GRID, FLUGELHORN, n_samples=5 * SR, sr=SR)
