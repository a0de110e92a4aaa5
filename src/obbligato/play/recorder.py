"""A take while it runs: plays a sound, records into a growing file, and knows at every moment how it goes.

The device's thread only copies: input into a ring, output from a sound made beforehand. A second thread brings the
ring to the disk, measures the peaks and looks for drop-outs. Whatever ends a take (the end of the sound, the player,
a device that is gone, a full disk), what was recorded until then stays.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from obbligato.errors import InputError
from obbligato.play.dropouts import Dropout, DropoutWatch
from obbligato.play.phones import CEILING_DBTP
from obbligato.play.ring import BlockRing
from obbligato.play.stream import Device
from obbligato.sound.audio import Samples
from obbligato.sound.growing import GrowingWav
from obbligato.units import SILENCE_DB, amplitude_to_db, db_to_amplitude

Ended = Literal["", "end", "stop", "device", "disk", "cut"]
"""What ended a take: the end of the sound, the player, a device or disk that failed, or the program being cut off."""

FLUSH_EVERY_S = 0.5
LOOK_EVERY_S = 0.05
RING_S = 20.0
"""A disk may be busy for so long before sound is lost."""

GONE_AFTER_S = 1.5
RING_OUT_S = 3.0
"""A take goes on for so long after the player says stop, for the sound to ring out (common practice, no source)."""

FULL_SCALE = 1.0 - 2.0**-15
HOLD_S = 3.0
_CEILING = float(db_to_amplitude(CEILING_DBTP))


@dataclass(frozen=True)
class RecorderState:
    """A take at one moment.

    Attributes
    ----------
    frames, safe_frames
        Recorded until now, and of these safe on the disk.
    peak_dbfs, hold_dbfs, highest_dbfs
        By channel: of the last look, the highest of the last three seconds, and of the whole take.
    overs
        Samples at full scale, all channels.
    dropouts
        All until now.
    overruns
        Blocks lost because the disk was too slow for too long.
    ended
        Empty while it runs; then what ended it.
    """

    frames: int
    safe_frames: int
    peak_dbfs: tuple[float, ...]
    hold_dbfs: tuple[float, ...]
    highest_dbfs: tuple[float, ...]
    overs: int
    dropouts: tuple[Dropout, ...]
    overruns: int
    ended: Ended


class Recorder:
    """Records from `start` until the sound has been played, or longer when it is open.

    Parameters
    ----------
    sound
        What to play, shape (n, outputs); its first frame belongs to the first frame of the recording.
    open_ended
        Begin the sound again whenever it ends, until stopped.
    self_gain
        How much of what is heard is played as well, the first input to every output; nothing then passes the ceiling
        of the headphone mix. It comes late by the round trip.
    """

    def __init__(
        self,
        device: Device,
        sound: Samples,
        wav: GrowingWav,
        *,
        block: int = 0,
        open_ended: bool = False,
        self_gain: float = 0.0,
    ) -> None:
        self._sound, self._wav = np.ascontiguousarray(sound, dtype=np.float32), wav
        self._ring = BlockRing(round(RING_S * wav.sr), wav.channels)
        self._played = 0
        self._end = None if open_ended else len(sound)
        self._begins_again, self._self_gain = open_ended, np.float32(self_gain)
        self._overruns = 0
        self._last_block_s = time.monotonic()
        self._watch = DropoutWatch(sr=wav.sr)
        self._asked_to_stop = 0
        self._held: list[tuple[float, Samples]] = []
        silence = (SILENCE_DB,) * wav.channels
        self._state = RecorderState(0, 0, silence, silence, silence, 0, (), 0, "")
        self._writer = threading.Thread(target=self._write, name="take", daemon=True)
        outputs = self._sound.shape[1]
        try:
            self._stream = device.open(self._on_block, sr=wav.sr, block=block, inputs=wav.channels, outputs=outputs)
        except InputError:
            wav.close()
            raise

    @property
    def round_trip_s(self) -> float:
        """Round trip as the device reports it."""
        return self._stream.round_trip_s

    @property
    def drift_ppm(self) -> float | None:
        """How much faster the recording clock runs than the playing clock, when it could be measured."""
        return self._watch.drift_ppm

    def start(self) -> None:
        """Begin to play and record."""
        self._last_block_s = time.monotonic()
        self._writer.start()
        try:
            self._stream.start()
        except Exception as error:
            self.stop(ring_out_s=0.0)
            raise InputError(f"The device would not start ({error}); plug it in again, or choose another.") from error

    def discard(self) -> None:
        """Let the device and the file go without having started."""
        self._stream.close()
        self._wav.close()

    def stop(self, *, ring_out_s: float = RING_OUT_S) -> None:
        """End the take when the sound has rung out; a second time, or with 0, at once."""
        self._asked_to_stop += 1
        now = self._played
        wait = 0 if self._asked_to_stop > 1 else round(ring_out_s * self._wav.sr)
        self._end = now + wait if self._end is None else min(self._end, now + wait)

    def state(self) -> RecorderState:
        """How it goes."""
        return self._state

    def wait(self, seconds: float | None = None) -> RecorderState:
        """Wait for the end, at most so long."""
        self._writer.join(seconds)
        return self._state

    def _on_block(self, heard: Samples, played: Samples, adc_s: float, dac_s: float, lost: bool) -> None:
        n, at = len(heard), self._played
        self._fill(played, at)
        if self._self_gain:
            played += self._self_gain * heard[:, :1]
            np.clip(played, -_CEILING, _CEILING, out=played)
        if not self._ring.put(heard, adc_s=adc_s, dac_s=dac_s, lost=lost):
            self._overruns += 1
        self._played = at + n
        self._last_block_s = time.monotonic()

    def _fill(self, played: Samples, at: int) -> None:
        """The sound from frame `at` on; after its end silence, or its beginning again."""
        done = 0
        while done < len(played):
            place = at + done
            piece = self._sound[place % len(self._sound) if self._begins_again else place :][: len(played) - done]
            if not len(piece):
                played[done:] = 0.0
                return
            played[done : done + len(piece)] = piece
            done += len(piece)

    def _write(self) -> None:
        ended: Ended = ""
        flushed_s = time.monotonic()
        try:
            while not ended:
                time.sleep(LOOK_EVERY_S)
                ended = self._ending()
                self._take_over_blocks()
                if ended or time.monotonic() - flushed_s >= FLUSH_EVERY_S:
                    self._wav.flush()
                    flushed_s = time.monotonic()
                self._state = replace(self._state, safe_frames=self._wav.frames)
        except OSError:
            ended = "disk"
        finally:
            self._wav.close()
            self._let_go(is_gone=ended in ("device", ""))
            frames = self._wav.frames
            found = tuple(dropout for dropout in self._watch.found if dropout.frame < frames)
            self._state = replace(
                self._state, frames=frames, safe_frames=frames, dropouts=found, ended=ended or "disk"
            )

    def _let_go(self, *, is_gone: bool) -> None:
        """Close the stream; a driver whose device is gone may never come back from that, and is not waited for."""
        if is_gone:
            threading.Thread(target=self._stream.close, name="close", daemon=True).start()
        else:
            self._stream.close()

    def _ending(self) -> Ended:
        if self._end is not None and self._played >= self._end:
            return "stop" if self._asked_to_stop else "end"
        silent_s = time.monotonic() - self._last_block_s
        if silent_s > GONE_AFTER_S or (self._played and not self._stream.running):
            return "device"
        return ""

    def _take_over_blocks(self) -> None:
        sound, stamps = self._ring.get()
        if not stamps:
            return
        room = len(sound) if self._end is None else max(0, self._end - self._state.frames)
        sound = sound[:room]
        self._wav.append(sound)
        self._watch.follow(stamps)
        peak = np.abs(sound).max(axis=0, initial=0.0)
        now_s = time.monotonic()
        self._held = [(at_s, high) for at_s, high in self._held if now_s - at_s < HOLD_S] + [(now_s, peak)]
        dbfs = amplitude_to_db(peak)
        before = self._state
        self._state = replace(
            before,
            frames=before.frames + len(sound),
            peak_dbfs=tuple(map(float, dbfs)),
            hold_dbfs=tuple(map(float, amplitude_to_db(np.max([high for _, high in self._held], axis=0)))),
            highest_dbfs=tuple(map(float, np.maximum(before.highest_dbfs, dbfs))),
            overs=before.overs + int((np.abs(sound) >= FULL_SCALE).sum()),
            dropouts=self._watch.found,
            overruns=self._overruns,
        )
