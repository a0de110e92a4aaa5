"""Recording as the player has set it up: what is heard, one take after another, and the passes of an open one."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.job.cutting import cut_take, repeated
from obbligato.job.hearing import mockup_line
from obbligato.job.intake import guide_audio, require_same_guide
from obbligato.job.mapping import song_map
from obbligato.job.recording import Recorded, RunningTake, with_test_signal
from obbligato.job.store import JobFolder
from obbligato.music.grid import Grid
from obbligato.play.audio_settings import USUAL_LEVELS, AudioSettings, HeadphoneLevels
from obbligato.play.click import click_track, count_in_click
from obbligato.play.devices import refuse_late
from obbligato.play.exposure import ASSUMED_VOLTS, Exposure, Headphones, exposure, parse_headphones
from obbligato.play.phones import HeadphoneMix, headphone_mix
from obbligato.play.stream import Device
from obbligato.play.take_sound import TakeSound, take_sound
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.audio import Audio
from obbligato.sound.shape import gain


@dataclass(frozen=True, eq=False)
class Phones:
    """What the player hears, on the guide's time: made once for all takes."""

    mix: HeadphoneMix
    count_in: Audio
    grid: Grid

    def sound(self, bars: tuple[int, int] | None = None) -> TakeSound:
        """The sound of one take: of the song, or of some bars with two before and one after them."""
        return take_sound(self.mix.audio, self.count_in, self.grid, bars=bars)


def make_phones(folder: JobFolder, levels: HeadphoneLevels = USUAL_LEVELS, *, progress: Progress = silent) -> Phones:
    """Mix guide, click and what else is wanted; the count-in is as loud as the click.

    Raises
    ------
    InputError
        When the guide was changed, or the mock-up is wanted and there is none.
    """
    require_same_guide(folder)
    song = song_map(folder, progress=part_of(progress, 0.0, 0.5))
    guide, grid = guide_audio(folder), song.to_grid()
    progress(0.5, "mixing for the headphones")
    click = click_track(grid, n_samples=guide.n_samples, sr=guide.sr, guide=guide)
    mix = headphone_mix(
        guide,
        click,
        None if levels.mockup_db is None else mockup_line(folder),
        guide_db=levels.guide_db,
        click_above_guide_db=levels.click_db,
        line_db=levels.mockup_db or 0.0,
    )
    click_db = next(stem.gain_db for stem in mix.stems if stem.name == "click")
    return Phones(mix, gain(count_in_click(grid, sr=guide.sr), click_db), grid)


def headphones_of(settings: AudioSettings) -> Headphones:
    """The headphones as the player stated them, or usual ones."""
    if settings.headphones.strip():
        return parse_headphones(settings.headphones, volts=settings.volts)
    if settings.volts == ASSUMED_VOLTS:
        return Headphones()
    return Headphones(volts=settings.volts, assumed=False)


def exposure_of(phones: Phones, settings: AudioSettings) -> Exposure:
    """How loud that would be at full volume."""
    return exposure(phones.mix.audio, headphones_of(settings))


def begin_take(
    folder: JobFolder,
    device: Device,
    sound: TakeSound,
    settings: AudioSettings,
    *,
    anyway: bool = False,
    measure_each: bool = False,
    open_ended: bool = False,
) -> RunningTake:
    """A take with these settings, opened and not yet started.

    Parameters
    ----------
    anyway
        Although the device answers too late to play to.
    measure_each
        With the test signal before it, over a cable.
    open_ended
        The sound begins again and again until stopped.

    Raises
    ------
    InputError
        When the device cannot be had or answers too late, or there is no room for a take.
    """
    if measure_each and open_ended:
        raise InputError(
            "An open take plays its sound again and again, the test signal too; measure once, or record take by take."
        )
    heard = with_test_signal(sound) if measure_each else sound
    take = RunningTake(
        folder,
        device,
        heard,
        block=settings.block,
        inputs=settings.inputs,
        round_trip=settings.round_trip(device.name, sr=sound.sr, block=settings.block),
        measure=measure_each,
        open_ended=open_ended,
        place=settings.place,
        gain_note=settings.gain_note,
        self_db=settings.levels.self_db,
    )
    if not anyway:
        try:
            refuse_late(device.name, take.facts.round_trip_frames / sound.sr)
        except InputError:
            take.discard()
            raise
    return take


def finish_take(take: RunningTake, folder: JobFolder) -> tuple[Recorded, ...]:
    """Wait for its end, put it into the job, and cut an open take into its passes.

    Returns
    -------
    The take, and after it a take for each pass where there is more than one.
    """
    recorded = take.finish()
    every, trip = take.facts.repeats_every, take.facts.round_trip_frames
    if every is None or len(repeated(recorded.take.frames, every=every, round_trip=trip)) < 2:
        return (recorded,)
    passes = cut_take(folder, recorded.take.number)
    numbers = f"{passes[0].number} to {passes[-1].number}"
    said = f"Its passes are takes {numbers} now; the long one stays as it is, left out."
    long = Recorded(recorded.take, (*recorded.sentences, said))
    return (long, *(Recorded(one, ()) for one in passes))
