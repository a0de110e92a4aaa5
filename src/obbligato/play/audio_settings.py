"""What the player chose last for recording, and what was measured of each device; one small file of the user's."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from obbligato.errors import InputError
from obbligato.play.exposure import ASSUMED_VOLTS
from obbligato.play.phones import CLICK_ABOVE_GUIDE_DB
from obbligato.sound.atomic import write_bytes_at_once

FILE = "recording.json"
Level = Annotated[float, Field(ge=-60.0, le=40.0, allow_inf_nan=False)]


class HeadphoneLevels(BaseModel):
    """What is heard how loud while recording.

    Attributes
    ----------
    guide_db
        Gain of the guide; None brings it down to a comfortable level.
    click_db
        The click against the guide.
    mockup_db
        The line of the mock-up against its level in the mock-up; None for none.
    self_db
        The player's own sound, against how it comes in; None for none.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    guide_db: Level | None = None
    click_db: Level = CLICK_ABOVE_GUIDE_DB
    mockup_db: Level | None = None
    self_db: Level | None = None


USUAL_LEVELS = HeadphoneLevels()


class AudioSettings(BaseModel):
    """Choices kept from one time to the next; `round_trips` holds frames by device, rate and block.

    `headphones` is their sensitivity as in the data sheet, `volts` what the output gives at full volume, and
    `rest_share` how long to rest after playing, as a share of the time played; None goes by the instrument.
    """

    model_config = ConfigDict(frozen=True)

    device: str | None = None
    block: int = 0
    inputs: int = Field(default=1, ge=1, le=64)
    place: str = ""
    gain_note: str = ""
    levels: HeadphoneLevels = USUAL_LEVELS
    headphones: str = ""
    volts: float = Field(default=ASSUMED_VOLTS, gt=0.0, le=100.0)
    rest_share: float | None = Field(default=None, ge=0.0, le=4.0)
    round_trips: dict[str, int] = Field(default_factory=dict)

    def round_trip(self, device: str, *, sr: int, block: int) -> int | None:
        """The measured round trip in frames of just this device, rate and block; None when there is none."""
        return self.round_trips.get(_key(device, sr, block))

    def with_round_trip(self, device: str, *, sr: int, block: int, frames: int) -> AudioSettings:
        """The same with one more measured."""
        trips = {**self.round_trips, _key(device, sr, block): frames}
        return self.model_copy(update={"round_trips": trips})


def read_settings() -> AudioSettings:
    """The settings kept; those of a new computer when there are none, or the file cannot be read."""
    try:
        return AudioSettings.model_validate_json((config_folder() / FILE).read_bytes())
    except (OSError, ValidationError):
        return AudioSettings()


def keep_settings(settings: AudioSettings) -> None:
    """Keep them for the next time.

    Raises
    ------
    InputError
        When the user's folder cannot be written.
    """
    folder = config_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"'{folder}' cannot be made ({error.strerror}); check the disk.") from error
    write_bytes_at_once(folder / FILE, settings.model_dump_json(indent=2).encode(), overwrite=True)


def config_folder() -> Path:
    """Where this system keeps a user's settings (XDG Base Directory Specification on Linux)."""
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home())) / "obbligato"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "obbligato"
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "obbligato"


def _key(device: str, sr: int, block: int) -> str:
    return f"{device} | {sr} Hz | {block}"
