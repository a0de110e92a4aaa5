"""The process that records: it alone opens audio devices, so that nothing the desk does makes a block late.

It is told what to do over a pipe and tells how it goes several times a second. When the pipe ends, however the desk
ended, a take that runs is stopped and put into its job before the process goes.
"""

from __future__ import annotations

import contextlib
import secrets
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from obbligato.desk.record_data import (
    LostView,
    MeterView,
    Outcome,
    Phase,
    RecordingState,
    TakeOrder,
    device_views,
    ready_view,
)
from obbligato.desk.words import page_words
from obbligato.errors import InputError, ObbligatoError
from obbligato.job.intake import guide_audio
from obbligato.job.mapping import map_key
from obbligato.job.ready import check_device
from obbligato.job.recording import Recorded, RunningTake
from obbligato.job.recovering import recover_takes
from obbligato.job.session import Phones, begin_take, finish_take, make_phones
from obbligato.job.store import JobFolder, fingerprint
from obbligato.music.remarks import place_text
from obbligato.play.audio_settings import keep_settings, read_settings
from obbligato.play.devices import DeviceLibrary
from obbligato.play.latency import calibrate
from obbligato.play.recorder import HOLD_S
from obbligato.play.stream import Device

TELL_EVERY_S = 0.06
MOST_LOST_TOLD = 20
"""The newest; a device in trouble may lose sound many times a second."""

TRIES, BETWEEN_TRIES_S = 20, 0.25
"""A take that cannot be put into its job, because something else is changing it, is tried again for five seconds."""


class _Stopped(Exception):
    """The player stopped what has no end of its own."""


def serve_recording(connection: Connection, library: DeviceLibrary) -> None:
    """The life of the process."""
    room = Room(connection, library)
    for name in ("SIGINT", "SIGHUP"):  # closing the terminal must not cost a take; the pipe's end is waited for
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda *_: room.leave())
    with contextlib.suppress(EOFError, OSError):
        while not room.left:
            if connection.poll(TELL_EVERY_S):
                room.do(*connection.recv())
            room.tell()
    room.end()


class Room:
    """What is done one thing at a time, and how it goes."""

    def __init__(self, connection: Connection, library: DeviceLibrary) -> None:
        self._connection, self._library = connection, library
        self._doing: threading.Thread | None = None
        self._state = RecordingState()
        self._told: RecordingState | None = None
        self._take: RunningTake | None = None
        self._phones: tuple[str, Phones] | None = None
        self._stop = threading.Event()
        self.left = False

    def leave(self) -> None:
        """End soon."""
        self.left = True

    def end(self) -> None:
        """Stop what is going on and wait until a take is in its job."""
        self.stop(at_once=True)
        if self._doing is not None:
            self._doing.join()

    def do(self, what: str, asked: dict[str, Any]) -> None:
        """Begin something, stop it, or answer."""
        if what == "devices":
            self._connection.send(("devices", self._devices()))
        elif what == "end":
            self.leave()
        elif what == "stop":
            self.stop(at_once=bool(asked["at_once"]))
        else:
            self._begin(what, **asked)

    def _begin(self, what: str, *, asked: int, root: Path, **more: Any) -> None:
        if self._doing is not None:
            self._doing.join()
        self._stop.clear()
        first: dict[str, Phase] = {"check": "checking", "calibrate": "calibrating", "record": "making"}
        self._state = RecordingState(phase=first[what], asked=asked, job=root.name, outcome=self._state.outcome)
        work: dict[str, Callable[..., None]] = {
            "check": self._check, "calibrate": self._calibrate, "record": self._record,
        }  # fmt: skip
        self._doing = threading.Thread(
            target=self._guarded, args=(work[what], root), kwargs=more, name=what, daemon=True
        )
        self._doing.start()

    def stop(self, *, at_once: bool) -> None:
        """Stop what is going on; a take rings out first."""
        self._stop.set()
        take = self._take
        if take is not None:
            take.stop(at_once=at_once)

    def tell(self) -> None:
        """Send the state when it has changed."""
        state = self._now()
        if state != self._told:
            self._connection.send(("state", state.model_dump()))
            self._told = state

    def _devices(self) -> Any:
        if self._state.phase != "idle":
            return "A take is running; devices are looked for when it has ended."
        try:
            return [view.model_dump() for view in device_views(self._library.devices())]
        except ObbligatoError as error:
            return page_words(str(error))

    def _guarded(self, work: Callable[..., None], root: Path, **more: Any) -> None:
        name = root.name
        try:
            work(root, **more)
        except _Stopped:
            self._came("refused", name, ["Stopped."])
        except ObbligatoError as error:
            self._came("refused", name, [page_words(str(error))], failed=True)
        except Exception:
            traceback.print_exc(file=sys.stderr)
            said = "Something broke while recording; what was recorded is kept. What happened stands in the terminal."
            self._came("refused", name, [said], failed=True)
        finally:
            self._take = None
            self._state = RecordingState(asked=self._state.asked, outcome=self._state.outcome)

    def _came(self, kind: str, job: str, sentences: list[str], **more: Any) -> None:
        what = threading.current_thread().name
        outcome = Outcome.model_validate(
            {"id": secrets.token_hex(6), "what": what, "kind": kind, "job": job, "sentences": sentences, **more}
        )
        self._state = self._state.model_copy(update={"outcome": outcome})

    def _progress(self, fraction: float, message: str) -> None:
        if self._stop.is_set():
            raise _Stopped
        self._state = self._state.model_copy(update={"fraction": fraction, "message": message})

    def _device(self) -> Device:
        return self._library.find(read_settings().device)

    def _check(self, root: Path, *, seconds: float) -> None:
        held: list[tuple[float, tuple[float, ...]]] = []

        def peaks(dbfs: tuple[float, ...]) -> None:
            now_s = time.monotonic()
            held[:] = [*((at_s, high) for at_s, high in held if now_s - at_s < HOLD_S), (now_s, dbfs)]
            hold = [max(column) for column in zip(*(high for _, high in held), strict=True)]
            before = self._state.meter.highest_dbfs if self._state.meter else dbfs
            highest = [max(pair) for pair in zip(before, dbfs, strict=True)]
            meter = MeterView(peak_dbfs=list(dbfs), hold_dbfs=hold, highest_dbfs=highest, overs=0)
            self._state = self._state.model_copy(update={"meter": meter})

        found = check_device(
            JobFolder.open(root), self._device(), inputs=read_settings().inputs, seconds=seconds,
            progress=self._progress, peaks=peaks,
        )  # fmt: skip
        ready = ready_view(found)
        self._came("check", root.name, [ready.sentence] if ready else [], check=ready)

    def _calibrate(self, root: Path) -> None:
        settings, device = read_settings(), self._device()
        sr = guide_audio(JobFolder.open(root)).sr
        frames = calibrate(device, sr=sr, block=settings.block, inputs=settings.inputs, outputs=2)
        keep_settings(read_settings().with_round_trip(device.name, sr=sr, block=settings.block, frames=frames))
        said = f"Out and back takes {1000 * frames / sr:.2f} ms, three times the same. Remembered for this device."
        self._came("calibration", root.name, [said])

    def _record(self, root: Path, *, order: TakeOrder) -> None:
        folder = JobFolder.open(root)
        recovered = [sentence for one in recover_takes(folder) for sentence in one.sentences]
        settings, device = read_settings(), self._device()
        phones = self._phones_for(folder)
        sound = phones.sound(order.bars)
        first_bar = order.bars[0] if order.bars else 1
        self._state = self._state.model_copy(
            update={
                "bars": order.bars,
                "loop": order.loop,
                "open_ended": order.open_ended,
                "first_s": phones.grid.bar_to_sec(first_bar),
                "ends_s": sound.starts_at_s + len(sound.y) / sound.sr,
                "position_s": sound.starts_at_s,
            }
        )
        while True:
            take = begin_take(
                folder, device, sound, settings,
                anyway=order.anyway, measure_each=order.measure_each, open_ended=order.open_ended,
            )  # fmt: skip
            if self._stop.is_set():
                take.discard()
                raise _Stopped
            self._take = take
            take.start()
            if self._stop.is_set():
                take.stop(at_once=True)
            while not take.state().ended:
                time.sleep(TELL_EVERY_S)
            self._state = self._now().model_copy(update={"phase": "keeping"})
            self._take = None
            failed = take.state().ended in ("device", "disk")
            done = _put_into(folder, take)
            words = [page_words(sentence) for one in done for sentence in one.sentences]
            numbers = [one.take.number for one in (done[1:] or done)]
            lost = [view.model_dump() for view in self._state.lost]
            self._came("take", root.name, [*recovered, *words], numbers=numbers, failed=failed, lost=lost)
            recovered = []
            if failed or not order.loop or self._stop.is_set():
                return

    def _phones_for(self, folder: JobFolder) -> Phones:
        """What is heard, made anew only when something of it changed."""
        levels = read_settings().levels
        mockup = folder.job.last_made("mockup")
        key = fingerprint(folder.root, folder.job.guide.sha256, map_key(folder), levels, mockup)
        if self._phones is None or self._phones[0] != key:
            self._phones = key, make_phones(folder, levels, progress=self._progress)
        return self._phones[1]

    def _now(self) -> RecordingState:
        """The state with what the running take says of itself."""
        take, state = self._take, self._state
        if take is None:
            return state
        now, facts = take.state(), take.facts
        position_s = take.position_s()
        phase: Phase = "count-in" if position_s < state.first_s else "recording"
        every = facts.repeats_every
        grid = self._phones[1].grid if self._phones else None
        lost = [
            LostView(
                at_s=facts.to_guide_s(d.frame),
                lost_ms=None if d.lost_s is None else 1000.0 * d.lost_s,
                words=place_text(grid, float(grid.sec_to_beat(facts.to_guide_s(d.frame)))) if grid else "",
            )
            for d in now.dropouts[-MOST_LOST_TOLD:]
        ]
        return state.model_copy(
            update={
                "phase": "ringing" if self._stop.is_set() else phase,
                "number": take.number,
                "position_s": position_s,
                "round": 1 if every is None else 1 + max(0, now.frames - facts.round_trip_frames) // every,
                "safe_s": now.safe_frames / facts.sample_rate,
                "lost": lost,
                "meter": MeterView(
                    peak_dbfs=list(now.peak_dbfs),
                    hold_dbfs=list(now.hold_dbfs),
                    highest_dbfs=list(now.highest_dbfs),
                    overs=now.overs,
                ),
            }
        )


def _put_into(folder: JobFolder, take: RunningTake) -> tuple[Recorded, ...]:
    """Put an ended take into its job, again for a while when something else is changing the job just then."""
    for _ in range(TRIES):
        try:
            return finish_take(take, folder)
        except InputError:
            if not take.is_rolling:
                raise
            time.sleep(BETWEEN_TRIES_S)
    return finish_take(take, folder)
