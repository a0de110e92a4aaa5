"""Where to put the microphone to begin with, by instrument, with a drawing made from the same few numbers.

Distances and angles are common practice without a source, places to start from; rooms and players differ. In the
drawing, seen from the side, the player looks to the right; lengths are in metres, angles in degrees upwards from
straight ahead.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import cos, radians, sin
from xml.sax.saxutils import escape

from obbligato.music.instruments import Instrument

PX_PER_M = 170.0
_WIDTH_M, _HEIGHT_M, _FLOOR_M, _LEFT_M = 3.4, 2.95, 0.2, 1.5
_STANDING_HEAD_M, _SEATED_HEAD_M, _HEAD_RADIUS_M = 1.62, 1.22, 0.11


@dataclass(frozen=True)
class Placement:
    """A place for one microphone.

    Attributes
    ----------
    instruments
        Names in the table of instruments.
    source
        What the microphone looks at.
    source_m
        Where that is: ahead of the player's middle, above the floor.
    axis_deg
        Direction in which a bell points, None for instruments without one to mind.
    mic_deg, distance_m, range_m
        Direction and distance of the microphone from the source, and the distances worth trying.
    seated
        Whether the drawn player sits.
    advice
        In words, one or two sentences.
    held
        Whether the source belongs to what the player holds, and is drawn joined to it.
    """

    instruments: tuple[str, ...]
    source: str
    source_m: tuple[float, float]
    axis_deg: float | None
    mic_deg: float
    distance_m: float
    range_m: tuple[float, float]
    seated: bool
    advice: str
    held: bool = True

    @property
    def mic_m(self) -> tuple[float, float]:
        """Where the microphone is, as `source_m`."""
        return (
            self.source_m[0] + self.distance_m * cos(radians(self.mic_deg)),
            self.source_m[1] + self.distance_m * sin(radians(self.mic_deg)),
        )


PLACEMENTS: tuple[Placement, ...] = (
    Placement(
        (
            *("Trumpet in Bb", "Trumpet in C", "Trumpet in D", "Piccolo Trumpet in Bb", "Soprano Cornet in Eb"),
            *("Cornet in Bb", "Flugelhorn in Bb", "Trombone", "Treble-Clef Trombone in Bb", "Bass Trombone"),
        ),
        *("the bell", (0.75, 1.5), 0.0, 20.0, 0.6, (0.1, 1.2), False),
        "15 to 30 degrees off the bell's axis. 60 to 120 cm sounds round; 10 to 30 cm sounds close and needs the "
        "microphone's pad and a screen against the air.",
    ),
    Placement(
        ("Horn in F",),
        *("the bell", (-0.2, 0.85), 190.0, 155.0, 1.0, (0.8, 1.5), True),
        "From behind and to the side, about a metre away, not straight into the bell.",
    ),
    Placement(
        (
            *("Tuba", "Treble-Clef Tuba in Eb", "Treble-Clef Tuba in Bb", "Euphonium", "Treble-Clef Euphonium in Bb"),
            *("Treble-Clef Baritone in Bb", "Alto Horn in Eb"),
        ),
        *("the bell", (0.15, 1.5), 90.0, 60.0, 0.9, (0.6, 1.2), True),
        "Above the bell and about 30 degrees off its axis; mind the ceiling, which is as near as the microphone.",
    ),
    Placement(
        ("Soprano Sax in Bb", "Alto Sax in Eb", "Tenor Sax in Bb", "Baritone Sax in Eb"),
        *("the middle of the body", (0.3, 1.1), None, 10.0, 0.5, (0.3, 0.6), False),
        "Towards the middle of the body, 30 to 60 cm away, not into the bell: most of the sound leaves by the holes.",
    ),
    Placement(
        (
            *("Clarinet in Bb", "Clarinet in A", "Clarinet in Eb", "Basset Horn in F", "Bass Clarinet in Bb"),
            *("Oboe", "Oboe d'Amore in A", "English Horn in F", "Bassoon", "Contrabassoon"),
            *("Descant Recorder", "Treble Recorder"),
        ),
        *("the lower hand's holes", (0.35, 0.95), None, 35.0, 0.6, (0.4, 0.9), True),
        "From above towards the holes of the lower hand, 40 to 90 cm away, not into the bell.",
    ),
    Placement(
        ("Flute", "Piccolo", "Alto Flute in G", "Bass Flute"),
        *("the mouth hole and the upper holes", (0.15, 1.6), None, 60.0, 0.45, (0.3, 0.6), False),
        "From above, 30 to 60 cm away, out of the stream of air that passes over the mouth hole.",
    ),
    Placement(
        ("Violin", "Viola"),
        *("the bridge", (0.35, 1.5), None, 65.0, 0.9, (0.6, 1.2), False),
        "60 to 120 cm above, looking down towards the bridge; nearer, the bow's noise is heard more than its tone.",
    ),
    Placement(
        ("Cello",),
        *("the bridge", (0.4, 0.6), None, 5.0, 0.7, (0.5, 0.9), True),
        "At the height of the bridge, 50 to 90 cm away.",
    ),
    Placement(
        ("Double Bass",),
        *("the bridge and the f-hole below it", (0.4, 0.85), None, 5.0, 0.5, (0.3, 0.8), False),
        "At the height of the bridge, 30 to 80 cm away; further up the strings, fingers are heard more.",
    ),
    Placement(
        ("Guitar", "Mandolin"),
        *("where neck and body meet", (0.35, 0.8), None, 10.0, 0.3, (0.2, 0.45), True),
        "Towards the place where neck and body meet, 20 to 45 cm away, not into the sound hole, which booms. An "
        "electric guitar is taken from its loudspeaker, a hand's width away, or by cable.",
    ),
    Placement(
        ("Electric Bass",),
        *("the loudspeaker", (0.7, 0.4), 0.0, 15.0, 0.2, (0.1, 0.4), True),
        "By cable through a DI box, best of all; a microphone goes a hand's width from the loudspeaker, beside its "
        "middle.",
        held=False,
    ),
    Placement(
        ("Harmonica in C",),
        *("the hands", (0.2, 1.52), None, 0.0, 0.25, (0.15, 0.4), False),
        "In front of the hands, 15 to 40 cm away, with room for them to open.",
    ),
    Placement(
        ("Soprano Voice", "Alto Voice", "Tenor Voice", "Bass Voice"),
        *("the mouth", (0.12, 1.58), 0.0, 20.0, 0.25, (0.15, 0.5), False),
        "15 to 30 cm away behind a screen, a little above the mouth and past it, so that breath does not hit the "
        "microphone; 50 cm for a loud voice in a good room.",
    ),
)


def placement_for(instrument: Instrument) -> Placement:
    """Where to begin for an instrument."""
    return next(place for place in PLACEMENTS if instrument.name in place.instruments)


def placement_text(instrument: Instrument) -> tuple[str, ...]:
    """The drawing in words, and the advice."""
    place = placement_for(instrument)
    nearest, farthest = (f"{100 * m:.0f}" for m in place.range_m)
    where = f"{100 * place.distance_m:.0f} cm from {place.source} (try {nearest} to {farthest} cm), {_height(place)}"
    off = "" if place.axis_deg is None else f", {_off_axis_deg(place):.0f} degrees off its axis"
    return (
        f"{instrument.name}: begin with the microphone {where}{off}, looking at {place.source}.",
        place.advice,
        "Common practice to start from: let your ears decide. Mark the floor, so that a retake matches.",
    )


def placement_svg(instrument: Instrument) -> str:
    """A drawing of player, sounding place and microphone, seen from the side, in the colour of the text around it."""
    place = placement_for(instrument)
    source, mic = place.source_m, place.mic_m
    label, angle = f"{100 * place.distance_m:.0f} cm", radians(place.mic_deg)
    parts = [
        _line((-_LEFT_M, 0.0), (_WIDTH_M - _LEFT_M, 0.0), "floor"),
        *_player(place),
        *([_line((0.1, _head_m(place) - 0.04), source, "instrument", width=5)] if place.held else []),
        _circle(source, 0.045, "source"),
        *_axis(place),
        _line(source, mic, "distance", dash=True),
        _microphone(place),
        _text((mic[0] + 0.2 * cos(angle), mic[1] + 0.2 * sin(angle) + 0.07), label, anchor="middle"),
        _text((source[0] + 0.05, source[1] - 0.14), place.source, anchor="start"),
    ]
    title, advice = placement_text(instrument)[:2]
    width, height = _WIDTH_M * PX_PER_M, _HEIGHT_M * PX_PER_M
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img" fill="none" '
        f'stroke="currentColor" stroke-width="2" font-family="sans-serif" font-size="14">'
        f"<title>{escape(title)}</title><desc>{escape(advice)}</desc>{''.join(parts)}</svg>"
    )


def _off_axis_deg(place: Placement) -> float:
    between = abs(place.mic_deg - (place.axis_deg or 0.0)) % 360.0
    return min(between, 360.0 - between)


def _height(place: Placement) -> str:
    above_m = place.mic_m[1] - place.source_m[1]
    if above_m < 0.08:
        return "at the same height"
    return f"{100 * above_m:.0f} cm higher"


def _head_m(place: Placement) -> float:
    return _SEATED_HEAD_M if place.seated else _STANDING_HEAD_M


def _player(place: Placement) -> list[str]:
    head_m = _head_m(place)
    neck, hip = (0.0, head_m - _HEAD_RADIUS_M), (0.0, head_m - 0.72)
    legs = [(0.45, hip[1]), (0.45, 0.0)] if place.seated else [(0.08, 0.0)]
    points = [hip, *legs]
    return [
        _circle((0.0, head_m), _HEAD_RADIUS_M, "head"),
        _line(neck, hip, "body"),
        *(_line(a, b, "leg") for a, b in pairwise(points)),
    ]


def _axis(place: Placement) -> list[str]:
    if place.axis_deg is None:
        return []
    angle, (x, y) = radians(place.axis_deg), place.source_m
    end, beyond = ((x + d * cos(angle), y + d * sin(angle)) for d in (0.6, 0.72))
    off = f"{_off_axis_deg(place):.0f}°"
    return [_line(place.source_m, end, "axis", dash=True), _text((beyond[0], beyond[1] - 0.03), off, anchor="middle")]


def _microphone(place: Placement) -> str:
    x, y = _px(place.mic_m)
    return (
        f'<rect class="microphone" x="{x:.1f}" y="{y - 7:.1f}" width="34" height="14" rx="7" fill="currentColor" '
        f'transform="rotate({-place.mic_deg:.1f} {x:.1f} {y:.1f})"/>'
    )


def _px(point_m: tuple[float, float]) -> tuple[float, float]:
    return (point_m[0] + _LEFT_M) * PX_PER_M, (_HEIGHT_M - _FLOOR_M - point_m[1]) * PX_PER_M


def _line(
    a_m: tuple[float, float], b_m: tuple[float, float], name: str, *, dash: bool = False, width: int = 2
) -> str:
    (x1, y1), (x2, y2) = _px(a_m), _px(b_m)
    dashes = ' stroke-dasharray="6 5"' if dash else ""
    return (
        f'<line class="{name}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        f'stroke-width="{width}"{dashes}/>'
    )


def _circle(at_m: tuple[float, float], radius_m: float, name: str) -> str:
    x, y = _px(at_m)
    return f'<circle class="{name}" cx="{x:.1f}" cy="{y:.1f}" r="{radius_m * PX_PER_M:.1f}"/>'


def _text(at_m: tuple[float, float], words: str, *, anchor: str) -> str:
    x, y = _px(at_m)
    at = f'x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
    return f'<text {at} fill="currentColor" stroke="none">{escape(words)}</text>'
