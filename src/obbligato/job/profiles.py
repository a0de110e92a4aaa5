"""What the client wants to get: rate, depth, channels, which files, and how they are named."""

from __future__ import annotations

import string
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from obbligato.errors import InputError
from obbligato.job.names import lint, plain, rate_and_depth

Channels = Literal["as-recorded", "mono", "stereo"]
BitDepth = Literal[16, 24, 32]

TEMPLATE = "{number}_{title}_{part}_{what}_v{version}_{format}"
_FIELDS = ("number", "title", "part", "what", "version", "format")
_MUST = ("number", "version")


class Profile(BaseModel):
    """How a pack is to be.

    Attributes
    ----------
    sample_rate
        In Hz; None for the guide's, which needs no conversion.
    bit_depth
        16 (dithered), 24, or 32 (floating point); None for 24, or 32 where the take itself passes full scale.
    channels
        `as-recorded`; `mono` takes the mean of two channels; `stereo` puts one channel on both sides.
    treated
        A treated version beside the dry one.
    pips
        A sync reference apart: the count-in and two bars of pips on the guide's time.
    also
        Numbers of takes that go along whole, each on the guide's time: layers, or other takes to choose from.
    template
        How files are named, from the fields number, title, part, what, version and format; empty ones fall out.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    sample_rate: Annotated[int | None, Field(ge=8_000, le=384_000)] = None
    bit_depth: BitDepth | None = None
    channels: Channels = "as-recorded"
    treated: bool = False
    pips: bool = False
    also: Annotated[tuple[int, ...], Field(max_length=64)] = ()
    template: Annotated[str, Field(max_length=200)] = TEMPLATE

    def require_usable(self) -> None:
        """Refuse a template that cannot name files.

        Raises
        ------
        InputError
            When a field is unknown or lacking, or the names would not be safe on every system.
        """
        try:
            parts = [part for part in string.Formatter().parse(self.template) if part[1] is not None]
        except ValueError:
            raise InputError("The template of the names has a brace without its other half; close it.") from None
        if any(spec or conversion for _, _, spec, conversion in parts):
            raise InputError(
                "The fields in the template of the names stand alone, such as {title}; leave out the rest."
            )
        fields = {str(name) for _, name, _, _ in parts}
        unknown = sorted(fields - set(_FIELDS))
        if unknown:
            raise InputError(f"The template of the names has no field '{unknown[0]}'; use {', '.join(_FIELDS)}.")
        lacking = [name for name in _MUST if name not in fields]
        if lacking:
            raise InputError(
                f"The template of the names needs the field {lacking[0]}, so that no name is used twice."
            )
        fault = lint(self.name(1, "Song", "Part", version=1, extension="wav", what="treated", form="48k24"))
        if fault:
            raise InputError(f"The template gives unsafe names: {fault}.")

    def name(
        self, number: int, title: str, part: str, *, version: int, extension: str, what: str = "", form: str = ""
    ) -> str:
        """One file's name, e.g. `01_NightFerry_Flugelhorn_v1_48k24.wav`."""
        filled = self.template.format(
            number=f"{number:02d}",
            title=plain(title),
            part=plain(part, fallback="Part"),
            what=what,
            version=version,
            format=form,
        )
        while "__" in filled:
            filled = filled.replace("__", "_")
        return f"{filled.strip('_-')}.{extension}"


def form_of(sr: int, bit_depth: int) -> str:
    """Rate and depth as a file name has them."""
    return rate_and_depth(sr, bit_depth, is_float=bit_depth == 32)
