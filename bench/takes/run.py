"""One set performed, read, chosen from and joined; and what came of it."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.files import write_wav
from obbligato.takes.assess import AssessedTakes, assess_takes

from .catalogue import Set, make_set
from .performing import Performed, perform, whole_take


@dataclass(frozen=True, eq=False)
class Result:
    """A set and what was found: `refused` takes by their name with what was said; processor seconds and minutes."""

    the_set: Set
    played: Mapping[str, Performed]
    assessed: AssessedTakes
    refused: Mapping[str, str]
    busy_s: float
    minutes: float


def performed(one: Set) -> dict[str, Performed]:
    """The takes of a set, by name."""
    takes = {}
    for k, take in enumerate(one.takes):
        rng = np.random.default_rng((one.seed, k))
        made = perform(one.written.line, one.source, take, rng, guide=one.guide, click=one.click)
        if one.spoilt and one.spoilt[0] == k and one.spoilt[1] in ("hum", "suppressed", "narrow"):
            y = whole_take(made.audio.y[0], one.spoilt[1], rng, made.audio.sr)
            made = replace(made, audio=Audio(y[None, :], made.audio.sr))
        takes[f"take{k + 1}"] = made
    return takes


def run_set(number: int, seed: int = 0) -> Result:
    """Perform a set and read it; a take that is refused is left out and the rest read again."""
    one = make_set(number, seed)
    played = performed(one)
    guide = Audio(one.guide[None, :].astype(np.float32), 48000)
    click = Audio(one.click[None, :].astype(np.float32), 48000)
    refused: dict[str, str] = {}
    started = time.process_time()
    while True:
        names = [name for name in played if name not in refused]
        try:
            found = assess_takes(
                one.written.line,
                [(name, played[name].audio) for name in names],
                guide=guide,
                click=click,
                grid=one.written.grid,
            )
            break
        except InputError as error:
            name = next(name for name in names if str(error).startswith(f"'{name}'"))
            refused[name] = str(error)
    busy_s = time.process_time() - started
    minutes = sum(played[name].audio.n_samples / played[name].audio.sr for name in names) / 60
    return Result(one, played, found, refused, busy_s, minutes)


def render(number: int, folder: Path) -> None:
    """Write a set's takes, what was heard while playing, and the truth."""
    one = make_set(number)
    folder.mkdir(parents=True, exist_ok=True)
    for name, made in performed(one).items():
        write_wav(folder / f"{name}.wav", made.audio)
        truth = {"notes": [asdict(note) for note in made.notes], "extra": dict(made.extra), "take": asdict(made.take)}
        (folder / f"{name}.json").write_text(json.dumps(truth, indent=1))
    for name, y in (("guide", one.guide), ("click", one.click)):
        write_wav(folder / f"{name}.wav", Audio(y[None, :].astype(np.float32) / np.abs(y).max() * 0.9, 48000))
    (folder / "line.json").write_text(json.dumps(asdict(one.written.line), indent=1))
