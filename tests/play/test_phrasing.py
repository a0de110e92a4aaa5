"""The mock-up's phrasing, heard by an independent pitch tracker (librosa's pyin, Mauch and Dixon 2014)."""

from __future__ import annotations

import librosa
import numpy as np
import pytest
from tests.play.conftest import SR

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.marks import NoteMarks
from obbligato.play.mockup import render_line
from obbligato.play.phrasing import SCOOP_CENTS, VIBRATO_HZ, phrased
from obbligato.play.soundfont import Bend, TimedNote, render_notes

GRID = Grid.steady(60.0, 0.0, Meter())


def _line(*notes: Note) -> Line:
    return Line(notes, (Phrase(0, 0, len(notes) - 1),))


def _cents(name: str, *notes: Note) -> np.ndarray:
    """The pitch of the rendered line against A4, every 5 ms."""
    y = render_line(_line(*notes), GRID, find_instrument(name), n_samples=5 * SR, sr=SR).y[0]
    hop = SR // 200
    f0_hz, _, _ = librosa.pyin(y, fmin=300.0, fmax=600.0, sr=SR, frame_length=2048, hop_length=hop, resolution=0.05)
    return np.asarray(1200.0 * np.log2(f0_hz / 440.0))


def test_a_long_note_has_a_slow_narrow_vibrato_about_its_own_pitch() -> None:
    cents = _cents("trumpet", Note(0.0, 4.0, 69))[160:760]
    centre = float(np.median(cents))
    assert abs(centre) < 6.0  # the bank's own trumpet is not exactly in tune
    spectrum = np.abs(np.fft.rfft((cents - cents.mean()) * np.hanning(len(cents)), 8192))
    assert np.fft.rfftfreq(8192, 1 / 200)[int(spectrum.argmax())] == pytest.approx(VIBRATO_HZ, abs=0.3)
    width = np.percentile(np.abs(cents - centre), 95)
    assert 4.0 < width < 20.0


def test_a_clarinet_has_none_and_a_saxophone_slides_into_a_phrase() -> None:
    long = phrased(_line(Note(0.0, 4.0, 69)), find_instrument("clarinet"), [0.0], [4.0])
    assert all(bend.cents == 0.0 for bend in long.bends)
    sax = _cents("tenor sax", Note(0.0, 4.0, 69))
    settled = float(np.nanmedian(sax[30:55]))
    assert float(np.nanmin(sax[4:12])) - settled < -0.4 * SCOOP_CENTS


def test_short_and_slurred_notes_are_as_long_as_their_marks_say() -> None:
    signs = (NoteMarks(signs=("staccato",)), NoteMarks(slurred=True), NoteMarks(signs=("tenuto",)), NoteMarks())
    notes = tuple(Note(float(i), 0.95, 60 + i, 80, marks) for i, marks in enumerate(signs))
    starts_s, ends_s = [0.0, 1.0, 2.0, 3.0], [0.95, 1.95, 2.95, 3.95]
    sounding = phrased(_line(*notes), find_instrument("clarinet"), starts_s, ends_s).notes
    assert [note.end_s for note in sounding] == pytest.approx([0.5, 2.0, 2.95, 3.95])


def test_a_note_played_short_already_is_not_halved_again() -> None:
    note = Note(0.0, 0.3, 60, 80, NoteMarks(signs=("staccato",)))
    sounding = phrased(_line(note, Note(4.0, 1.0, 62)), find_instrument("clarinet"), [0.0, 4.0], [0.3, 5.0]).notes
    assert sounding[0].end_s == pytest.approx(0.3)


def test_an_accent_is_louder() -> None:
    plain, accented = Note(0.0, 1.0, 60), Note(1.0, 1.0, 60, 80, NoteMarks(signs=("accent",)))
    sounding = phrased(_line(plain, accented), find_instrument("flute"), [0.0, 1.0], [0.9, 1.9]).notes
    assert sounding[1].velocity > sounding[0].velocity


def test_a_bend_beyond_the_wheel_is_refused() -> None:
    with pytest.raises(InputError, match=r"bend of \+300 cents is too wide"):
        render_notes([TimedNote(0.0, 1.0, 60)], program=1, n_samples=SR, sr=SR, bends=[Bend(0.0, 300.0)])
