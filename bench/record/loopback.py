"""A real PortAudio stream whose output is its input: a JACK server without hardware, and the two ports connected."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager

WHY_NOT = "needs jackd and PortAudio with JACK (Debian: jackd2, libportaudio2)"


def is_possible() -> bool:
    return shutil.which("jackd") is not None and shutil.which("jack_connect") is not None


@contextmanager
def loopback_server(*, sr: int, block: int):
    """A server of that rate and period; PortAudio must not have been loaded in this process before."""
    name = f"loop{os.getpid()}"
    # In synchronous mode the server waits for its clients, so that a busy computer makes it late and not wrong.
    command = ["jackd", "-n", name, "-S", "-r", "-d", "dummy", "-r", str(sr), "-p", str(block), "-C", "2", "-P", "2"]
    with tempfile.TemporaryDirectory() as scratch:
        environment = {"XDG_RUNTIME_DIR": scratch, "JACK_NO_AUDIO_RESERVATION": "1"}
        before = dict(os.environ)
        server = subprocess.Popen(
            command, env=os.environ | environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        os.environ.update(environment | {"JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"})
        try:
            subprocess.run(["jack_wait", "-s", name, "-w", "-t", "10"], check=True, capture_output=True)
            yield server
        finally:
            if "sounddevice" in sys.modules:
                sys.modules["sounddevice"]._terminate()
            # Killed outright it would stay in the list of servers, which has few places.
            server.terminate()
            server.wait()
            os.environ.clear()
            os.environ.update(before)


class LoopDevice:
    """PortAudio's JACK device; connects its ports as soon as it has started."""

    def __init__(self):
        from obbligato.play.devices import PortAudioDevice, list_devices

        facts = next(facts for facts in list_devices() if facts.name == "system")
        self._device, self.name = PortAudioDevice(facts, facts), facts.name

    def open(self, on_block, **options):
        return _LoopStream(self._device.open(on_block, **options))


class LoopLibrary:
    """That one device."""

    def devices(self):
        from obbligato.play.devices import PortAudioLibrary

        return tuple(facts for facts in PortAudioLibrary().devices() if facts.name == "system")

    def find(self, asked):
        return LoopDevice()


class _LoopStream:
    def __init__(self, stream):
        self._stream = stream
        self.close = stream.close

    def start(self):
        self._stream.start()
        ports = subprocess.run(["jack_lsp"], check=True, capture_output=True, text=True).stdout.split()
        played, heard = (sorted(p for p in ports if p.startswith(f"PortAudio:{way}_"))[0] for way in ("out", "in"))
        subprocess.run(["jack_connect", played, heard], check=True, capture_output=True)

    @property
    def running(self):
        return self._stream.running

    @property
    def round_trip_s(self):
        return self._stream.round_trip_s
