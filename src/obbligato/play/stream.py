"""What a recorder needs of an audio device: one stream that plays and records on the same count of frames.

Play and record as two streams start some milliseconds apart, differently each time; one stream hands over a block of
input and asks for the block of output that belongs to it, so that their distance is the round trip and stays so.
"""

from __future__ import annotations

from typing import Protocol

from obbligato.sound.audio import Samples


class OnBlock(Protocol):
    """Called by the device for every block, on a thread that must never wait."""

    def __call__(self, heard: Samples, played: Samples, adc_s: float, dac_s: float, lost: bool) -> None:
        """Take what was heard, shape (frames, inputs), and fill in what to play, shape (frames, outputs).

        `adc_s` and `dac_s` are when their first frames pass the converters, on the device's clock; `lost` says
        that the device itself noticed a drop-out before this block.
        """


class Stream(Protocol):
    """An open stream."""

    def start(self) -> None:
        """Begin to call back."""

    def close(self) -> None:
        """Stop calling back and let the device go; a second time does nothing."""

    @property
    def running(self) -> bool:
        """Whether it calls back; turns false when the device is gone."""

    @property
    def round_trip_s(self) -> float:
        """Output and input latency together as the device reports them, which may be far from the truth."""


class Device(Protocol):
    """A device, or a pair of devices, that plays and records."""

    @property
    def name(self) -> str:
        """Its name as the player knows it."""

    def open(self, on_block: OnBlock, *, sr: int, block: int, inputs: int, outputs: int) -> Stream:
        """Open a stream; blocks of `block` frames, or of any size for 0.

        Raises
        ------
        InputError
            When the device is not there, or cannot do the rate or the channels.
        """
