"""Speech sounds of the invented singer: formants of the vowels, and what each consonant is made of."""

from __future__ import annotations

from dataclasses import dataclass

VOWELS_HZ = {
    "i": (270, 2290, 3010),
    "I": (390, 1990, 2550),
    "e": (530, 1840, 2480),
    "A": (660, 1720, 2410),
    "a": (730, 1090, 2440),
    "o": (570, 840, 2410),
    "U": (440, 1020, 2240),
    "u": (300, 870, 2240),
    "@": (640, 1190, 2390),
    "3": (490, 1350, 1690),
}
"""First three formants, means of 33 men in Peterson & Barney, JASA 24 (1952), table II; retyped from memory."""

HIGHER_FORMANTS_HZ = (3300.0, 3900.0)
BANDWIDTHS_HZ = (70.0, 90.0, 120.0, 180.0, 260.0)


@dataclass(frozen=True)
class Consonant:
    """A consonant; all figures are common practice in formant synthesis, no source.

    Attributes
    ----------
    length_s
        How long it takes.
    voicing
        Level of the voice under it, 1 being a vowel.
    formants_hz
        First three formants towards which the voice glides.
    noise_hz, noise_db
        Band and level of its noise against a full vowel; None where it has none.
    burst_s
        For stops: the noise comes only in the last `burst_s`.
    """

    length_s: float
    voicing: float
    formants_hz: tuple[int, int, int]
    noise_hz: tuple[float, float] | None = None
    noise_db: float = -60.0
    burst_s: float | None = None


CONSONANTS = {
    "m": Consonant(0.075, 0.45, (260, 1050, 2200)),
    "n": Consonant(0.065, 0.45, (260, 1450, 2300)),
    "l": Consonant(0.065, 0.6, (350, 1100, 2700)),
    "r": Consonant(0.065, 0.6, (380, 1150, 1550)),
    "w": Consonant(0.065, 0.55, (300, 650, 2200)),
    "j": Consonant(0.06, 0.6, (280, 2200, 2950)),
    "v": Consonant(0.06, 0.4, (300, 1100, 2200), (3000.0, 9000.0), -32.0),
    "z": Consonant(0.08, 0.35, (300, 1500, 2500), (5000.0, 10000.0), -24.0),
    "D": Consonant(0.045, 0.4, (300, 1300, 2400), (3500.0, 9000.0), -34.0),
    "s": Consonant(0.11, 0.0, (300, 1600, 2600), (5200.0, 11000.0), -19.0),
    "f": Consonant(0.095, 0.0, (300, 1000, 2300), (2500.0, 11000.0), -28.0),
    "h": Consonant(0.07, 0.0, (600, 1300, 2500), (700.0, 5000.0), -26.0),
    "p": Consonant(0.08, 0.0, (300, 800, 2200), (500.0, 3000.0), -20.0, 0.022),
    "t": Consonant(0.08, 0.0, (300, 1700, 2600), (3000.0, 9000.0), -17.0, 0.03),
    "k": Consonant(0.085, 0.0, (300, 1600, 2200), (1400.0, 5000.0), -18.0, 0.032),
    "b": Consonant(0.065, 0.15, (250, 800, 2200), (400.0, 2500.0), -24.0, 0.01),
    "d": Consonant(0.06, 0.15, (250, 1700, 2600), (2500.0, 7000.0), -22.0, 0.012),
    "g": Consonant(0.065, 0.15, (250, 1600, 2200), (1300.0, 4000.0), -22.0, 0.014),
}


@dataclass(frozen=True)
class Segment:
    """A phone in time."""

    start_s: float
    end_s: float
    phone: str


def syllable_segments(
    onset: str, vowel: str, coda: str, *, earliest_s: float, start_s: float, end_s: float, latest_s: float
) -> list[Segment]:
    """Lay a syllable out in time: its vowel starts at `start_s`, its onset before, its coda around `end_s`.

    The onset never begins before `earliest_s` and the coda never ends after `latest_s`; where that leaves too
    little room the consonants shrink, at most half of the note going to the coda.
    """
    segments: list[Segment] = []
    onset_s = sum(CONSONANTS[c].length_s for c in onset)
    squeeze = min(1.0, max(start_s - earliest_s, 1e-3) / onset_s) if onset else 1.0
    at = start_s - onset_s * squeeze
    for c in onset:
        segments.append(Segment(at, at + CONSONANTS[c].length_s * squeeze, c))
        at = segments[-1].end_s
    coda_s = sum(CONSONANTS[c].length_s for c in coda)
    squeeze = min(1.0, 0.5 * (latest_s - start_s) / coda_s) if coda else 1.0
    vowel_end_s = min(end_s, latest_s - coda_s * squeeze) if coda else end_s
    parts = list(vowel)
    turn_s = start_s + 0.62 * (vowel_end_s - start_s)
    bounds = [start_s, vowel_end_s] if len(parts) == 1 else [start_s, turn_s, vowel_end_s]
    segments += [Segment(a, b, p) for a, b, p in zip(bounds[:-1], bounds[1:], parts, strict=True)]
    at = vowel_end_s
    for c in coda:
        segments.append(Segment(at, at + CONSONANTS[c].length_s * squeeze, c))
        at = segments[-1].end_s
    return segments
