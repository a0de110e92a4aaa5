"""Takes through the audio device: begun, watched, stopped, and put into the job with their exact place.

While it runs a take is `takes/rolling_NN.wav`, readable at every moment, with a note of what it belongs to beside it,
from which `job.recovering` makes a take of it when this program could not.
"""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from pydantic import BaseModel, ConfigDict

from obbligato.errors import InputError
from obbligato.job.model import Mark, TakeRef
from obbligato.job.names import ROLLING
from obbligato.job.store import JobFolder, now
from obbligato.play.latency import calibration_signal, round_trip_frames
from obbligato.play.recorder import Ended, Recorder, RecorderState
from obbligato.play.stream import Device
from obbligato.play.take_sound import TakeSound
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.audio import Audio
from obbligato.sound.files import read_audio, sha256_of
from obbligato.sound.growing import BYTES_PER_SAMPLE, GrowingWav, complete
from obbligato.units import amplitude_to_db, db_to_amplitude

QUIETEST_PEAK_DBFS = -80.0
DISK_SPARE_BYTES = 200_000_000
OPEN_TAKE_S = 3600.0
"""An open take is given room on the disk for an hour."""

MOST_DROPOUTS_SAID = 3

ENDINGS: dict[Ended, str] = {
    "device": "the device was gone or gave no more sound",
    "disk": "the disk was full or could not be written",
    "cut": "the program was cut off",
}


class RecordingFacts(BaseModel):
    """What is known of a take that was recorded here; kept beside it.

    Attributes
    ----------
    round_trip_frames, measured
        What the take was placed by, and whether it was measured or only reported by the device.
    test_signal
        The take begins with the test signal, by which its own round trip is measured.
    repeats_every
        Frames after which the sound began again, in an open take.
    dropouts
        Frame before which sound was lost, and for how many seconds (None: unknown).
    """

    model_config = ConfigDict(frozen=True)

    begun_at: datetime
    process: int
    device: str
    sample_rate: int
    block: int
    channels: int
    sound_starts_at_s: float
    round_trip_frames: int
    measured: bool
    test_signal: bool = False
    repeats_every: int | None = None
    guide_sha256: str
    line_version: int | None
    place: str = ""
    gain_note: str = ""
    ended: Ended = ""
    highest_dbfs: tuple[float, ...] = ()
    overs: int = 0
    dropouts: tuple[tuple[int, float | None], ...] = ()
    drift_ppm: float | None = None

    def to_guide_s(self, frame: int) -> float:
        """Where on the guide's time a frame of the recording was played."""
        heard = max(frame - self.round_trip_frames, 0)
        if self.repeats_every is not None:
            heard %= self.repeats_every
        return self.sound_starts_at_s + heard / self.sample_rate


@dataclass(frozen=True)
class Recorded:
    """A take that is in the job now, and what the player should know of it."""

    take: TakeRef
    sentences: tuple[str, ...]


def with_test_signal(sound: TakeSound) -> TakeSound:
    """The same with the test signal before it, to measure the round trip of just this take over a cable."""
    signal = np.repeat(calibration_signal(sound.sr)[:, None], sound.y.shape[1], axis=1)
    return TakeSound(np.concatenate((signal, sound.y)), sound.sr, sound.starts_at_s - len(signal) / sound.sr)


class RunningTake:
    """One take of a job, from `start` to `finish`; all methods may be called from any thread of one process.

    Parameters
    ----------
    round_trip
        In frames, as measured for this device, rate and block; None takes what the device reports.
    measure
        The sound begins with the test signal, and the take's round trip is found in the take itself.
    open_ended
        Begins the sound again whenever it ends, until stopped.
    self_db
        The player's own sound in the headphones, in dB against how it comes in; None for none.
    """

    def __init__(
        self,
        folder: JobFolder,
        device: Device,
        sound: TakeSound,
        *,
        block: int = 0,
        inputs: int = 1,
        round_trip: int | None = None,
        measure: bool = False,
        open_ended: bool = False,
        place: str = "",
        gain_note: str = "",
        self_db: float | None = None,
    ) -> None:
        folder.require_writable()
        require_room(folder, sound, inputs=inputs, open_ended=open_ended)
        self._folder = folder
        (folder.root / "takes").mkdir(exist_ok=True)
        self.number = _next_number(folder)
        self._wav = folder.path(f"takes/{ROLLING}{self.number:02d}.wav")
        wav = GrowingWav(self._wav, sr=sound.sr, channels=inputs)
        try:
            self._recorder = Recorder(
                device,
                sound.y,
                wav,
                block=block,
                open_ended=open_ended,
                self_gain=0.0 if self_db is None else float(db_to_amplitude(self_db)),
            )
        except InputError:
            self._wav.unlink(missing_ok=True)
            raise
        reported = round(self._recorder.round_trip_s * sound.sr)
        self.facts = RecordingFacts(
            begun_at=now(),
            process=os.getpid(),
            device=device.name,
            sample_rate=sound.sr,
            block=block,
            channels=inputs,
            sound_starts_at_s=sound.starts_at_s,
            round_trip_frames=reported if round_trip is None else round_trip,
            measured=round_trip is not None,
            test_signal=measure,
            repeats_every=len(sound.y) if open_ended else None,
            guide_sha256=folder.job.guide.sha256,
            line_version=folder.job.lines[-1].version if folder.job.lines else None,
            place=place,
            gain_note=gain_note,
        )
        facts = self._wav.with_suffix(".json")
        write_bytes_at_once(facts, self.facts.model_dump_json(indent=2).encode(), overwrite=True)

    def start(self) -> None:
        """Begin to play and record."""
        self._recorder.start()

    def stop(self, *, at_once: bool = False) -> None:
        """End it, after three seconds for the sound to ring out, or at once; a second call ends it at once."""
        if at_once:
            self._recorder.stop(ring_out_s=0.0)
        else:
            self._recorder.stop()

    def discard(self) -> None:
        """Give up a take that was not started, and let the device go."""
        self._recorder.discard()
        for path in (self._wav, self._wav.with_suffix(".json")):
            path.unlink(missing_ok=True)

    def state(self) -> RecorderState:
        """Peaks, hold, overs, frames, drop-outs and whether it has ended."""
        return self._recorder.state()

    @property
    def is_rolling(self) -> bool:
        """Whether its file still waits to be put into the job."""
        return self._wav.exists()

    def position_s(self) -> float:
        """Where on the guide's time the player is now, in seconds."""
        return self.facts.to_guide_s(self.state().frames)

    def finish(self) -> Recorded:
        """Wait for the end, put the take into the job, and say what there is to say.

        Raises
        ------
        InputError
            When nothing was recorded.
        """
        state = self._recorder.wait()
        changes = {
            "ended": state.ended,
            "highest_dbfs": state.highest_dbfs,
            "overs": state.overs,
            "dropouts": tuple((dropout.frame, dropout.lost_s) for dropout in state.dropouts),
            "drift_ppm": self._recorder.drift_ppm,
        }
        return keep_recorded(self._folder, self.number, self.facts.model_copy(update=changes))


def keep_recorded(folder: JobFolder, number: int, facts: RecordingFacts) -> Recorded:
    """Make a take of a closed rolling file: renamed, its facts beside it, known to the job.

    Raises
    ------
    InputError
        When there is not a frame of sound in it; the file is removed.
    """
    rolling = folder.path(f"takes/{ROLLING}{number:02d}.wav")
    if complete(rolling) == 0:
        for path in (rolling, rolling.with_suffix(".json")):
            path.unlink(missing_ok=True)
        raise InputError(f"Nothing was recorded: {ENDINGS.get(facts.ended, 'it was stopped before any sound came')}.")
    audio = read_audio(rolling)
    if facts.test_signal:
        facts = _measured_in(audio, facts)
    fresh = JobFolder.open(folder.root)
    take = TakeRef(
        number=number,
        file=f"takes/take_{number:02d}.wav",
        sha256=sha256_of(rolling),
        given_as=f"take_{number:02d}.wav",
        sample_rate=audio.sr,
        frames=audio.n_samples,
        line_version=facts.line_version,
        guide_sha256=facts.guide_sha256,
        starts_at_s=facts.sound_starts_at_s - facts.round_trip_frames / facts.sample_rate,
    )
    target = fresh.path(take.file)
    if target.exists():
        raise InputError(f"'{take.file}' exists already and is never overwritten; the new take is '{rolling.name}'.")
    document = take.model_dump(mode="json") | {"recording": facts.model_dump(mode="json")}
    write_bytes_at_once(target.with_suffix(".json"), json.dumps(document, indent=2).encode())
    rolling.rename(target)
    is_silent = float(amplitude_to_db(abs(audio.y).max())) < QUIETEST_PEAK_DBFS
    changes = {"left_out": fresh.job.left_out | {number}} if is_silent else {}
    try:
        fresh.save("takes", f"take {number} recorded", takes=(*fresh.job.takes, take), **changes)
    except BaseException:
        target.rename(rolling)
        target.with_suffix(".json").unlink(missing_ok=True)
        raise
    rolling.with_suffix(".json").unlink(missing_ok=True)
    folder.job = fresh.job
    return Recorded(take, _sentences(number, audio, facts, is_silent=is_silent))


def _measured_in(audio: Audio, facts: RecordingFacts) -> RecordingFacts:
    """The facts with the round trip of just this take; a cable that was not in must not cost the take."""
    try:
        trip = round_trip_frames(audio.mono(), sr=audio.sr)
    except InputError:
        return facts.model_copy(update={"measured": False})
    return facts.model_copy(update={"round_trip_frames": trip, "measured": True})


def mark_take(folder: JobFolder, number: int, mark: Mark) -> None:
    """Keep what the player says of a take; `noise` also leaves it out, and another mark takes that back.

    Raises
    ------
    InputError
        When there is no such take.
    """
    if number not in {take.number for take in folder.job.takes}:
        raise InputError(f"There is no take {number} to mark; look at the list of takes again.")
    left_out = folder.job.left_out
    if mark == "noise":
        left_out |= {number}
    elif folder.job.marks.get(number) == "noise":
        left_out -= {number}
    overrides = {phrase: take for phrase, take in folder.job.overrides.items() if take not in left_out}
    changes = {"left_out": left_out, "overrides": overrides} if left_out != folder.job.left_out else {}
    folder.save("takes", f"take {number}: {mark}", marks={**folder.job.marks, number: mark}, **changes)


def require_room(folder: JobFolder, sound: TakeSound, *, inputs: int, open_ended: bool) -> None:
    """Refuse to begin a take that would not find room on the disk."""
    seconds = OPEN_TAKE_S if open_ended else len(sound.y) / sound.sr
    needed = round(seconds * sound.sr) * inputs * BYTES_PER_SAMPLE + DISK_SPARE_BYTES
    free = shutil.disk_usage(folder.root).free
    if free < needed:
        raise InputError(
            f"The take needs {needed / 1e6:.0f} MB on the disk and {free / 1e6:.0f} MB are free; make room first."
        )


def _sentences(number: int, audio: Audio, facts: RecordingFacts, *, is_silent: bool) -> tuple[str, ...]:
    highest_dbfs = float(amplitude_to_db(abs(audio.y).max()))
    said = [f"Take {number}: {audio.duration_s:.1f} s, highest {highest_dbfs:.1f} dBFS."]
    if facts.ended in ENDINGS:
        said.append(f"It ended early because {ENDINGS[facts.ended]}; all until then is kept.")
    if is_silent:
        said.append("It is silent and was left out; check which input is recorded and whether it is turned up.")
    if facts.overs:
        said.append(f"{facts.overs} samples reached full scale; turn the input down by 6 dB and play it again.")
    said.extend(_of_dropouts(facts))
    if not facts.measured:
        said.append(
            "It was placed by the delay that the device reports, which may be wrong by milliseconds; "
            "measure it once with: obbligato record JOB --calibrate"
        )
    return tuple(said)


def _of_dropouts(facts: RecordingFacts) -> list[str]:
    """A sentence for each of a few drop-outs, or one for many; those that only the device tells of are said so."""
    places_s = [f"{facts.to_guide_s(frame):.2f}" for frame, _ in facts.dropouts]
    if len(places_s) > MOST_DROPOUTS_SAID:
        seen = sum(lost_s is not None for _, lost_s in facts.dropouts)
        return [
            f"{len(places_s)} drop-outs, {seen or 'none'} of them seen in the device's clock, from {places_s[0]} to "
            f"{places_s[-1]} s of the guide; close other programs, choose a larger --block, and play it again."
        ]
    return [
        f"The device says that sound was lost at {place_s} s of the guide, but its clock shows no gap; listen there."
        if lost_s is None
        else f"Drop-out at {place_s} s of the guide: {1000 * lost_s:.1f} ms were lost; what follows comes early. "
        "Play it again."
        for place_s, (_, lost_s) in zip(places_s, facts.dropouts, strict=True)
    ]


def _next_number(folder: JobFolder) -> int:
    rolling = [int(path.stem.removeprefix(ROLLING)) for path in folder.root.glob(f"takes/{ROLLING}*.wav")]
    return max([*(take.number for take in JobFolder.open(folder.root).job.takes), *rolling], default=0) + 1
