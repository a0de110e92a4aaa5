"""The audio devices of this computer, through PortAudio: their names, and one stream in both directions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Protocol

from obbligato.errors import InputError
from obbligato.play.stream import Device, OnBlock, Stream

WIRELESS = re.compile(r"bluetooth|bluez|wireless|airpods|buds|hands-?free|a2dp|hfp", re.IGNORECASE)
LONGEST_ROUND_TRIP_S = 0.1
"""Wireless headphones answer after 100 to 300 ms (common practice, no source); nobody plays in time with that."""


@dataclass(frozen=True)
class DeviceFacts:
    """What a player chooses by; the rate is the one that the device itself proposes, in Hz."""

    number: int
    name: str
    inputs: int
    outputs: int
    rate: int

    @property
    def looks_wireless(self) -> bool:
        """Whether its name is one of a wireless device."""
        return WIRELESS.search(self.name) is not None

    @property
    def sentence(self) -> str:
        """One line of the list."""
        return f"{self.number}: {self.name} ({self.inputs} in, {self.outputs} out, {self.rate} Hz)"


class DeviceLibrary(Protocol):
    """Where devices come from: this computer, or a test."""

    def devices(self) -> tuple[DeviceFacts, ...]:
        """Those there are now; no stream may be open meanwhile."""

    def find(self, asked: str | None) -> Device:
        """One of them, as `find_device`."""


class PortAudioLibrary:
    """The devices of this computer."""

    def devices(self) -> tuple[DeviceFacts, ...]:
        """Those plugged in now: PortAudio looks only when it starts, so it is started anew."""
        library = port_audio()
        library._terminate()
        library._initialize()
        return list_devices()

    def find(self, asked: str | None) -> Device:
        """One of them, as `find_device`."""
        return find_device(asked)


class PortAudioDevice:
    """One device that does both, or one that records and another that plays."""

    def __init__(self, recorded_by: DeviceFacts, played_by: DeviceFacts) -> None:
        self.recorded_by, self.played_by = recorded_by, played_by

    @property
    def name(self) -> str:
        """The device's name, or both names."""
        if self.recorded_by == self.played_by:
            return self.recorded_by.name
        return f"{self.recorded_by.name} + {self.played_by.name}"

    def open(self, on_block: OnBlock, *, sr: int, block: int, inputs: int, outputs: int) -> Stream:
        """Open a stream in both directions.

        Raises
        ------
        InputError
            When the device cannot do the rate or the channels, or is not to be had.
        """
        library = port_audio()

        def callback(heard: Any, played: Any, _frames: int, when: Any, status: Any) -> None:
            lost = status.input_overflow or status.input_underflow or status.output_underflow
            on_block(heard, played, when.inputBufferAdcTime, when.outputBufferDacTime, bool(lost))

        try:
            stream = library.Stream(
                samplerate=sr,
                blocksize=block,
                device=(self.recorded_by.number, self.played_by.number),
                channels=(inputs, outputs),
                dtype="float32",
                callback=callback,
            )
        except (library.PortAudioError, ValueError) as error:
            raise InputError(
                f"'{self.name}' cannot record {inputs} and play {outputs} channels at {sr} Hz ({_reason(error)}); "
                f"set the device to {sr} Hz, or choose another one: obbligato record JOB --devices"
            ) from error
        return _PortAudioStream(stream)


class _PortAudioStream:
    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def start(self) -> None:
        self._stream.start()

    def close(self) -> None:
        self._stream.close(ignore_errors=True)

    @property
    def running(self) -> bool:
        return not self._stream.closed and bool(self._stream.active)

    @property
    def round_trip_s(self) -> float:
        return float(sum(self._stream.latency))


def port_audio() -> Any:
    """The library, loaded when it is needed.

    Raises
    ------
    InputError
        When PortAudio is not installed, or does not start.
    """
    try:
        import sounddevice
    except Exception as error:  # a broken configuration of the system's sound raises an error of its own on loading
        raise InputError(
            "The audio library cannot be used on this computer; install PortAudio (Debian: libportaudio2), "
            "or record elsewhere and add the files: obbligato takes JOB add FILE"
        ) from error
    return sounddevice


def list_devices() -> tuple[DeviceFacts, ...]:
    """All devices, as they are plugged in now."""
    library = port_audio()
    return tuple(
        DeviceFacts(
            number=i,
            name=str(facts["name"]),
            inputs=int(facts["max_input_channels"]),
            outputs=int(facts["max_output_channels"]),
            rate=round(facts["default_samplerate"]),
        )
        for i, facts in enumerate(library.query_devices())
    )


def find_device(asked: str | None) -> PortAudioDevice:
    """The device of that name, part of a name, or number; two joined by ` + ` record and play; None: the usual one.

    Raises
    ------
    InputError
        When there is none, or several fit.
    """
    there = list_devices()
    if not there:
        raise InputError("No audio device is connected; plug one in, and look with: obbligato record JOB --devices")
    if asked is None:
        default = port_audio().default.device
        recorded_by = next((d for d in there if d.number == default[0]), None)
        played_by = next((d for d in there if d.number == default[1]), None)
        if recorded_by is None or played_by is None:
            raise InputError("This computer has no usual audio device; choose one: obbligato record JOB --devices")
        return PortAudioDevice(recorded_by, played_by)
    first, _, second = asked.partition(" + ")
    recorded_by = _one_of([d for d in there if d.inputs], first.strip())
    played_by = _one_of([d for d in there if d.outputs], (second or first).strip())
    return PortAudioDevice(recorded_by, played_by)


def refuse_late(device_name: str, round_trip_s: float) -> None:
    """Refuse what answers too late to be played to.

    Raises
    ------
    InputError
        When the name is that of a wireless device, or the round trip is beyond 100 ms.
    """
    word = WIRELESS.search(device_name)
    if word is not None:
        raise InputError(
            f"'{device_name}' looks wireless ('{word[0]}'), and wireless headphones come 100 to 300 ms late; "
            "use a cable, or record all the same with --anyway."
        )
    if round_trip_s > LONGEST_ROUND_TRIP_S:
        raise InputError(
            f"'{device_name}' needs {1000 * round_trip_s:.0f} ms out and back, too late to play to; choose a smaller "
            "--block or a device with a cable, or record all the same with --anyway."
        )


def _one_of(devices: list[DeviceFacts], asked: str) -> DeviceFacts:
    fits = [d for d in devices if asked in (str(d.number), d.name)]
    fits = fits or [d for d in devices if asked.lower() in d.name.lower()]
    if len(fits) == 1:
        return fits[0]
    names = ", ".join(f"'{d.name}'" for d in (fits or devices))
    if fits:
        raise InputError(f"Several devices are called '{asked}': {names}; give the whole name or the number.")
    raise InputError(f"There is no device '{asked}' that fits; there are: {names or 'none'}.")


def _reason(error: Exception) -> str:
    return str(error).split(" [")[0].removeprefix("Error opening Stream: ").lower()
