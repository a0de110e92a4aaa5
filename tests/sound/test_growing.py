import os
import struct
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from obbligato.errors import InputError
from obbligato.sound.growing import GrowingWav, complete, header

KILLED = """
import sys, numpy as np
from pathlib import Path
from obbligato.sound.growing import GrowingWav
wav = GrowingWav(Path(sys.argv[1]), sr=48000, channels=1)
frame = 0
while True:
    wav.append(((np.arange(frame, frame + 480) % 30000) / 32768.0).astype(np.float32)[:, None])
    frame += 480
    if frame % 4800 == 0:
        wav.flush()
        print(wav.frames, flush=True)
"""


def ramp(n):
    return ((np.arange(n) % 30000) / 32768.0)[:, None]


def test_the_file_is_valid_before_it_is_closed(tmp_path):
    """Read back by libsndfile while it is open."""
    wav = GrowingWav(tmp_path / "a.wav", sr=44100, channels=2)
    wav.append(np.repeat(ramp(1001), 2, axis=1).astype(np.float32))
    wav.flush()
    wav.append(np.ones((50, 2), dtype=np.float32))
    y, sr = soundfile.read(tmp_path / "a.wav")
    assert (sr, y.shape) == (44100, (1001, 2))
    assert np.array_equal(y[:, 0], ramp(1001)[:, 0])
    wav.close()


@pytest.mark.parametrize("frames", [1, 1000, 1001])
def test_closed_and_completed_files_have_the_sizes_of_the_standard(tmp_path, frames):
    """RIFF: the size is that of the file without its first eight bytes, and chunks are padded to even sizes."""
    wav = GrowingWav(tmp_path / "a.wav", sr=48000, channels=1)
    wav.append(ramp(frames).astype(np.float32))
    wav.flush()
    wav.close()
    whole = (tmp_path / "a.wav").read_bytes()
    assert len(whole) % 2 == 0
    assert struct.unpack("<I", whole[4:8])[0] == len(whole) - 8
    assert complete(tmp_path / "a.wav") == frames
    assert (tmp_path / "a.wav").read_bytes() == whole


def test_a_process_killed_while_it_writes_loses_nothing_it_had_flushed(tmp_path):
    path = tmp_path / "a.wav"
    with subprocess.Popen([sys.executable, "-c", KILLED, str(path)], stdout=subprocess.PIPE, text=True) as process:
        promised = int(process.stdout.readline())
        time.sleep(0.3)
        process.kill()
        promised = max([promised, *(int(line) for line in process.stdout if line.endswith("\n"))])
    assert soundfile.info(path).frames >= promised
    frames = complete(path)
    y, _ = soundfile.read(path)
    assert promised <= frames == len(y)
    assert np.array_equal(y[:, None], ramp(frames))


def test_past_4_gib_it_is_an_rf64_file(tmp_path):
    """EBU Tech 3306: RF64, the RIFF and data sizes -1, the true ones in ds64; read by libsndfile, a sparse file."""
    frames = 1_500_000_000
    path = tmp_path / "long.wav"
    path.write_bytes(header(frames, sr=48000, channels=1))
    os.truncate(path, len(header(1, sr=48000, channels=1)) + frames * 3)
    with path.open("rb") as file:
        head = file.read(16)
    assert (head[:4], head[4:8], head[12:16]) == (b"RF64", b"\xff" * 4, b"ds64")
    assert soundfile.info(path).frames == frames


def test_a_take_is_never_written_over(tmp_path):
    (tmp_path / "a.wav").write_bytes(b"mine")
    with pytest.raises(InputError, match="not overwritten"):
        GrowingWav(tmp_path / "a.wav", sr=48000, channels=1)
    with pytest.raises(InputError, match="nothing to recover"):
        complete(tmp_path / "a.wav")


def test_beyond_full_scale_is_clipped_and_does_not_wrap_around(tmp_path):
    wav = GrowingWav(tmp_path / "a.wav", sr=48000, channels=1)
    wav.append(np.array([[1.5], [-1.5], [1.0]], dtype=np.float32))
    wav.flush()
    wav.close()
    y, _ = soundfile.read(tmp_path / "a.wav")
    assert y[0] > 0.999 and y[1] == -1.0 and y[2] > 0.999
