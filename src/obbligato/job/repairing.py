"""One take being mended: each mend is made on the take as the mends before it left it, and says what it did."""

from __future__ import annotations

import numpy as np

from obbligato.errors import InputError
from obbligato.job.mends import Kind, Mend
from obbligato.listen.songmap import SongMap
from obbligato.play.click import click_track
from obbligato.sound.audio import Audio
from obbligato.sound.measures import level_dbfs
from obbligato.sound.shape import gain, highpass
from obbligato.takes.faults import rests_of
from obbligato.takes.hearing import Heard, hear, to_analysis_rate
from obbligato.takes.hum import WithoutHum, without_hum
from obbligato.takes.mended import Mend as TimeMend
from obbligato.takes.mended import to_mended
from obbligato.takes.moving import move_phrase, phrase_gain
from obbligato.takes.notes import PlayedNote
from obbligato.takes.place import Placement, place_heard, play_back, stated_placement
from obbligato.takes.read import click_times
from obbligato.takes.readings import TimedLine
from obbligato.takes.unclick import WithoutClick, without_click
from obbligato.units import amplitude_to_db, midi_to_hz

LOW_CUT = 0.5
"""Of the lowest note's frequency: a Butterworth filter of 12 dB per octave costs that note 0.26 dB there."""
_OF_TIME: dict[Kind, TimeMend] = {"rate": "rate", "steps": "steps", "clock": "clock"}
_Span = tuple[float, float]


class Repairing:
    """A take on its way from as received to mended; `audio` is what it is by now.

    Parameters
    ----------
    line
        On the guide's time; None where there is none, and then only the level can be mended.
    click
        The click the player heard, on the guide's time; None for the one that the song's map gives.
    start_s
        Where the take starts on the guide's time, if the player states it.
    """

    def __init__(
        self,
        audio: Audio,
        line: TimedLine | None,
        *,
        song: SongMap,
        guide: Audio,
        click: Audio | None = None,
        start_s: float | None = None,
    ) -> None:
        self.audio = audio
        self._line, self._guide, self._song, self._click, self._start_s = line, guide, song, click, start_s
        self._found: tuple[Heard, Placement, tuple[PlayedNote, ...]] | None = None

    def make(self, mend: Mend) -> str:
        """Make one mend and tell in a sentence what it did.

        Raises
        ------
        InputError
            When there is nothing to mend or no line to find it by; `audio` is then as it was.
        """
        if mend.kind == "gain":
            return self._gain(mend)
        if self._line is None:
            raise InputError(
                "This is found by the line, and the job has none; add it first: obbligato line JOB FILE.mid"
            )
        of_time = _OF_TIME.get(mend.kind)
        if of_time is not None:
            return self._time(of_time)
        if mend.kind == "move":
            return self._move(mend)
        return {"bleed": self._bleed, "hum": self._hum, "low-cut": self._low_cut}[mend.kind]()

    def _time(self, kind: TimeMend) -> str:
        heard = self._heard(free=True)
        before = heard[1]
        self._set(to_mended(self.audio, before, kind), moved=True)
        after = self._heard(free=True)[1]
        left = after.clock_sentence or "Heard again, its time is the guide's."
        if kind == "rate":
            return f"Read at its true rate of {before.true_sr} Hz. {left}"
        if kind == "steps":
            total_ms = 1e3 * sum(abs(loss.lost_s) for loss in before.losses)
            count = "1 block" if len(before.losses) == 1 else f"{len(before.losses)} blocks"
            return f"{count} put right, {total_ms:.1f} ms in all, by the take's own room. {left}"
        total_ms = 1e-3 * abs(before.drift_ppm) * self.audio.duration_s
        return f"Resampled by {before.drift_ppm:+.1f} ppm, {total_ms:.1f} ms from its start to its end. {left}"

    def _bleed(self) -> str:
        _, placement, played = self._heard()
        click = self._click or click_track(
            self._song.to_grid(), n_samples=self._guide.n_samples, sr=self._guide.sr, guide=self._guide
        )
        assert self._line is not None
        done: WithoutClick = without_click(
            self.audio,
            click,
            placement,
            click_times_s=click_times(self._line, None, click)[0],
            rests=self._rests(),
            notes=_sounding(played),
        )
        self._set(done.audio)
        return (
            f"The click fell by {done.fell_db:.0f} dB or more; what was taken out lies {-done.in_notes_db:.0f} dB "
            f"under the notes. It was learned from {done.clicks} clicks in rests."
        )

    def _hum(self) -> str:
        done: WithoutHum = without_hum(self.audio, rests=self._rests(), notes=_sounding(self._heard()[2]))
        self._set(done.audio)
        way = "subtracted as fitted in the rests" if done.way == "fitted" else "by narrow notches"
        return (
            f"Hum of {done.mains_hz:.2f} Hz with {done.partials} partials, {way}: it fell by {done.fell_db:.0f} dB; "
            f"what was taken out lies {-done.in_notes_db:.0f} dB under the notes."
        )

    def _low_cut(self) -> str:
        assert self._line is not None
        lowest_hz = float(midi_to_hz(min(note.midi for note in self._line.notes), a4_hz=self._song.tuning.a4_hz))
        before, done = self.audio, highpass(self.audio, LOW_CUT * lowest_hz)
        rests, notes = self._rests(), _sounding(self._heard()[2])
        rest_db, note_db = (
            round(level_dbfs(_within(done, spans)) - level_dbfs(_within(before, spans)), 1) + 0.0 if spans else 0.0
            for spans in (rests, notes)
        )
        self._set(done)
        return (
            f"Low cut at {LOW_CUT * lowest_hz:.0f} Hz, half of the lowest note's {lowest_hz:.0f} Hz: the rests "
            f"changed by {rest_db:+.1f} dB, the notes by {note_db:+.1f} dB."
        )

    def _move(self, mend: Mend) -> str:
        assert mend.value is not None
        before, after = self._around(mend)
        self._set(move_phrase(self.audio, before, after, mend.value / 1e3), moved=True)
        way = "later" if mend.value > 0 else "earlier"
        return f"Phrase {mend.phrase} moved {abs(mend.value):g} ms {way} as a whole."

    def _gain(self, mend: Mend) -> str:
        assert mend.value is not None
        if mend.phrase is None:
            done, what = gain(self.audio, mend.value), "The whole take"
        else:
            done, what = phrase_gain(self.audio, *self._around(mend), mend.value), f"Phrase {mend.phrase}"
        peak_dbfs = float(amplitude_to_db(np.max(np.abs(done.y), initial=0.0)))
        if mend.value > 0 and peak_dbfs > 0.0:
            raise InputError(f"Its peaks would pass full scale by {peak_dbfs:.1f} dB; raise it by less.")
        self._set(done)
        way = "louder" if mend.value > 0 else "softer"
        return f"{what} made {abs(mend.value):g} dB {way}; the take peaks at {peak_dbfs:.1f} dBFS."

    def _around(self, mend: Mend) -> tuple[_Span, _Span]:
        """The rests before and after a phrase in the take."""
        if self._line is None:
            raise InputError(
                "Phrases are those of the line, and the job has none; add it first: obbligato line JOB FILE.mid"
            )
        phrases = self._line.phrases
        if mend.phrase is None or not 1 <= mend.phrase <= len(phrases):
            raise InputError(f"There is no phrase {mend.phrase}; the line has phrases 1 to {len(phrases)}.")
        phrase = phrases[mend.phrase - 1]
        played = self._heard()[2]
        within = _sounding(played[phrase.first_note : phrase.last_note + 1])
        if not within:
            raise InputError(f"Nothing of phrase {mend.phrase} is heard in the take; there is nothing to change.")
        start_s, end_s = min(n[0] for n in within), max(n[1] for n in within)
        before_s = max((n[1] for n in _sounding(played[: phrase.first_note])), default=0.0)
        after_s = min((n[0] for n in _sounding(played[phrase.last_note + 1 :])), default=self.audio.duration_s)
        return (before_s, start_s), (end_s, after_s)

    def _rests(self) -> tuple[_Span, ...]:
        heard, _, played = self._heard()
        return rests_of(heard, played)

    def _heard(self, *, free: bool = False) -> tuple[Heard, Placement, tuple[PlayedNote, ...]]:
        """The take as it is by now, heard and placed; `free` leaves aside where the player says that it starts."""
        if self._found is None or free:
            assert self._line is not None
            a4_hz = self._song.tuning.a4_hz
            heard = self._found[0] if self._found is not None else hear(self.audio, self._line, a4_hz=a4_hz)
            if self._start_s is None or free:
                sources = (to_analysis_rate(self._guide),)
                placement, played = place_heard(heard, self._line, sources=sources, a4_hz=a4_hz)
            else:
                placement = stated_placement(self._start_s)
                played = play_back(heard, self._line, placement, a4_hz=a4_hz)
            self._found = heard, placement, played
        return self._found

    def _set(self, audio: Audio, *, moved: bool = False) -> None:
        self.audio = audio
        if moved:
            self._found = None


def _sounding(played: tuple[PlayedNote, ...]) -> tuple[_Span, ...]:
    return tuple((p.start_s, p.end_s) for p in played if p.start_s is not None and p.end_s is not None)


def _within(audio: Audio, spans: tuple[_Span, ...]) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
    return np.concatenate(
        [audio.y[:, int(start_s * audio.sr) : int(end_s * audio.sr)] for start_s, end_s in spans], axis=1
    )
