"""Pieces of work that can be imported by name in another process."""

import os
import time
from pathlib import Path

from obbligato.errors import InputError


def count_up(*, to, file, progress):
    for number in range(to):
        progress(number / to, f"at {number}")
        Path(file).write_text(str(number))
        time.sleep(0.02)
    return {"counted": to}


def refuse(*, progress):
    raise InputError("The file is silent; choose another.")


def die(*, progress):
    os._exit(9)


def break_down(*, progress):
    raise ZeroDivisionError
