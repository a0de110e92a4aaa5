"""The player's own figures for instruments: a file in their settings folder, and a job's own before it."""

from __future__ import annotations

from pathlib import Path

from obbligato.errors import InputError
from obbligato.music.instrument_settings import OwnFigures, parse_settings
from obbligato.play.audio_settings import config_folder

FILE = "instruments.toml"


def own_figures(job: Path | None = None) -> OwnFigures:
    """The figures that hold for a job, or wherever none is named.

    Raises
    ------
    InputError
        When a settings file is there and cannot be used.
    """
    figures = _read(config_folder() / FILE)
    return figures if job is None else figures.under(_read(job / FILE))


def _read(file: Path) -> OwnFigures:
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return OwnFigures()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"'{file}' cannot be read as text; mend it or take it away.") from error
    return parse_settings(text, str(file))
