"""The command `record`: takes through the audio device."""

from __future__ import annotations

import sys
import threading
import time
from typing import TYPE_CHECKING, Annotated

import typer

from obbligato.cli import reports
from obbligato.cli.app import JobArgument, JsonOption, app
from obbligato.cli.terminal import choose_output, err, progress_bar, say

if TYPE_CHECKING:
    from obbligato.job.model import Mark
    from obbligato.job.recording import Recorded, RunningTake
    from obbligato.job.store import JobFolder
    from obbligato.play.audio_settings import AudioSettings
    from obbligato.play.devices import PortAudioDevice

SHOWN_EVERY_S = 0.2
MARKS: dict[str, Mark] = {"": "good", "g": "good", "a": "again", "n": "noise"}


@app.command()
def record(
    job: JobArgument,
    devices: Annotated[bool, typer.Option("--devices", help="List the audio devices.")] = False,
    device: Annotated[
        str | None,
        typer.Option(help="Name or number of the device; 'MICROPHONE + PHONES' for two. Remembered."),
    ] = None,
    block: Annotated[int | None, typer.Option(help="Frames to a block, 0 for the device's own. Remembered.")] = None,
    inputs: Annotated[int | None, typer.Option(help="Channels to record. Remembered.")] = None,
    place: Annotated[str | None, typer.Option(help="Where you record, for the take's facts. Remembered.")] = None,
    gain: Annotated[str | None, typer.Option(help="How the gain stands, in your words. Remembered.")] = None,
    calibrate: Annotated[
        bool,
        typer.Option("--calibrate", help="Measure the way out and back: over a cable, or a headphone at the mic."),
    ] = False,
    measure_each: Annotated[
        bool, typer.Option("--measure-each", help="Measure it at the start of every take; the cable stays in.")
    ] = False,
    bars: Annotated[str | None, typer.Option(help="Only these bars, with two before them: 12-20.")] = None,
    loop: Annotated[bool, typer.Option("--loop", help="Begin a new take after each, until stopped.")] = False,
    open_: Annotated[
        bool,
        typer.Option("--open", help="Over and over in one recording, until stopped; each pass becomes a take."),
    ] = False,
    anyway: Annotated[bool, typer.Option("--anyway", help="Record although the device answers too late.")] = False,
    recover: Annotated[bool, typer.Option("--recover", help="Only recover takes that were cut off.")] = False,
    json: JsonOption = False,
) -> None:
    """Record takes while you hear guide and click; Enter ends a take."""
    from obbligato.job.recovering import recover_takes
    from obbligato.job.store import JobFolder
    from obbligato.play.audio_settings import keep_settings, read_settings
    from obbligato.play.devices import find_device, list_devices

    folder = JobFolder.open(job)
    done = list(recover_takes(folder))
    if devices:
        there = list_devices()
        choose_output(json, lambda: reports.plain(there), lambda: say(*(facts.sentence for facts in there)))
        return
    if recover:
        show = [sentence for one in done for sentence in one.sentences] or [
            "No take was cut off; all are in the job."
        ]
        choose_output(json, lambda: reports.plain(done), lambda: say(*show))
        return
    for one in done:
        err.print("Recovered.", *one.sentences, markup=False, soft_wrap=True)
    said = {"device": device, "block": block, "inputs": inputs, "place": place, "gain_note": gain}
    settings = read_settings()
    settings = type(settings).model_validate(
        settings.model_dump() | {key: value for key, value in said.items() if value is not None}
    )
    chosen = find_device(settings.device)
    keep_settings(settings)
    if calibrate:
        _calibrate(folder, chosen, settings, json=json)
        return
    takes = _Takes(folder, chosen, settings, anyway=anyway, measure_each=measure_each)
    recorded = takes.run(bars=_bars(bars), loop=loop, open_ended=open_)
    if json:
        choose_output(True, lambda: reports.plain(recorded), lambda: None)


def _calibrate(folder: JobFolder, device: PortAudioDevice, settings: AudioSettings, *, json: bool) -> None:
    from obbligato.job.intake import guide_audio
    from obbligato.play.audio_settings import keep_settings
    from obbligato.play.latency import calibrate

    sr = guide_audio(folder).sr
    frames = calibrate(device, sr=sr, block=settings.block, inputs=settings.inputs, outputs=2)
    keep_settings(settings.with_round_trip(device.name, sr=sr, block=settings.block, frames=frames))
    found = {"device": device.name, "sample_rate": sr, "block": settings.block, "round_trip_frames": frames}
    words = f"Out and back takes {frames} frames ({1000 * frames / sr:.2f} ms), three times the same. Remembered."
    choose_output(json, lambda: found, lambda: say(words))


class _Takes:
    """The takes of one call of the command."""

    def __init__(
        self,
        folder: JobFolder,
        device: PortAudioDevice,
        settings: AudioSettings,
        *,
        anyway: bool,
        measure_each: bool,
    ) -> None:
        self._folder, self._device, self._settings = folder, device, settings
        self._anyway, self._measure_each = anyway, measure_each

    def run(self, *, bars: tuple[int, int] | None, loop: bool, open_ended: bool) -> list[Recorded]:
        """Record, one take or one after another, and report each."""
        from obbligato.job.session import begin_take, finish_take, make_phones

        with progress_bar() as progress:
            sound = make_phones(self._folder, self._settings.levels, progress=progress).sound(bars)
        done: list[Recorded] = []
        while True:
            take = begin_take(
                self._folder,
                self._device,
                sound,
                self._settings,
                anyway=self._anyway,
                measure_each=self._measure_each,
                open_ended=open_ended,
            )
            by_hand = _run_one(take)
            recorded = finish_take(take, self._folder)
            done += recorded
            for sentence in (sentence for one in recorded for sentence in one.sentences):
                err.print(sentence, markup=False, soft_wrap=True)
            failed = take.state().ended in ("device", "disk")
            if not loop or by_hand or failed:
                break
        if len(recorded) == 1:
            _ask_mark(self._folder, recorded[0].take.number)
        return done


def _run_one(take: RunningTake) -> bool:
    """Start, show how it goes, and stop on Enter or Ctrl-C; whether the player stopped it."""
    stopped = threading.Event()
    if sys.stdin.isatty():
        threading.Thread(target=_wait_for_enter, args=(stopped,), daemon=True).start()
    take.start()
    by_hand = False
    known = 0
    while not take.state().ended:
        try:
            time.sleep(SHOWN_EVERY_S)
            if stopped.is_set() and not by_hand:
                by_hand = True
                take.stop()
        except KeyboardInterrupt:
            by_hand = True
            take.stop()
        state = take.state()
        if len(state.dropouts) > known:
            known = len(state.dropouts)
            err.print(f"\nDROP-OUT at {take.position_s():.1f} s of the guide.", markup=False)
        if err.is_terminal:
            over = f"  OVER {state.overs}" if state.overs else ""
            word = "ENDING" if by_hand else "RECORDING"
            line = f"{word}  take {take.number}  {take.position_s():7.1f} s  {max(state.hold_dbfs):6.1f} dBFS{over}"
            err.print(line, end="\r", markup=False)
    return by_hand


def _wait_for_enter(stopped: threading.Event) -> None:
    sys.stdin.readline()
    stopped.set()


def _ask_mark(folder: JobFolder, number: int) -> None:
    """Ask what to think of the take, where somebody is there to answer."""
    from obbligato.job.recording import mark_take

    if not (sys.stdin.isatty() and err.is_terminal):
        return
    err.print(f"Take {number}: Enter for good, a for again, n for noise (left out).", markup=False)
    mark = MARKS.get(sys.stdin.readline().strip().lower()[:1])
    if mark is not None:
        mark_take(folder, number, mark)


def _bars(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    from obbligato.job.places import parse_stretch

    stretch = parse_stretch(text)
    return stretch.first.bar, stretch.last.bar
