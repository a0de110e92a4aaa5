"""What a new guide has done to the old one, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from obbligato.listen.difference import Difference, Stretch

_CODED_DB = -60.0
"""A residual above this is more than dither: the sound was coded or resampled again."""


def difference_sentences(difference: Difference) -> list[str]:
    """The whole in a few sentences: length, rate, tempo and pitch, and what stands out."""
    stretches = difference.stretches
    if not any(stretch.new and stretch.old for stretch in stretches):
        return ["Nothing of the old guide was found in the new one: it seems to be another song."]
    sentences = []
    if difference.identical:
        sentences.append("The new guide is the same as the old one, sample for sample in its place.")
    longer_s = difference.new_duration_s - difference.old_duration_s
    if abs(longer_s) >= 5e-4:
        word = "longer" if longer_s > 0 else "shorter"
        sentences.append(f"The new file is {_seconds(abs(longer_s))} {word} ({_clock_s(difference)}).")
    if difference.old_rate != difference.new_rate:
        sentences.append(f"It has {difference.new_rate} Hz instead of {difference.old_rate} Hz.")
    if difference.tempo_ratio != 1.0:
        sentences.append(f"It goes {_tempo(difference.tempo_ratio)}{_with_pitch(difference.pitch_cents)}.")
    elif difference.pitch_cents:
        sentences.append(f"It sounds {_pitch(difference.pitch_cents)}.")
    moved = {round(s.moved_samples) for s in stretches if s.moved_samples is not None}
    if len(moved) == 1 and 0 not in moved and not difference.identical:
        sentences.append(f"All of it lies {_moved(moved.pop(), difference.old_rate)}.")
    return sentences


def stretch_sentence(stretch: Stretch, *, rate: int) -> str:
    """What has happened to one stretch of bars."""
    where = bars_words(stretch.old_bars or stretch.new_bars)
    if stretch.kind == "inserted":
        length = _length(stretch)
        now = f": {bars_words(stretch.new_bars).lower()} of the new guide" if stretch.new_bars else ""
        return f"{length} put in{now}."
    if stretch.kind == "removed":
        return f"{where} {_are(stretch)} taken out."
    words = {
        "identical": "the same",
        "moved": "the same",
        "level": "the same",
        "tempo": f"the same, but {_tempo(stretch.tempo_ratio)}{_with_pitch(stretch.pitch_cents)}",
        "key": f"the same music {_pitch(stretch.pitch_cents)}",
        "re-sung": "sung anew over the same band",
        "remixed": "in the same place, but mixed or played otherwise",
        "replayed": "the same music in a new recording",
        "changed": "something else in as many bars",
    }[stretch.kind]
    about = [words, *_about(stretch, rate)]
    return f"{where} {_are(stretch)} {', '.join(about)}."


def bars_words(bars: tuple[int, int] | None) -> str:
    """`Bar 5`, `Bars 5 to 8`; what lies before bar 1 is called so."""
    if bars is None:
        return "Less than a bar"
    first, last = bars
    if last < 1:
        return "What comes before bar 1"
    if first < 1:
        return "Bar 1 and what comes before it" if last == 1 else f"All up to bar {last}"
    return f"Bar {first}" if first == last else f"Bars {first} to {last}"


def _are(stretch: Stretch) -> str:
    first, last = stretch.old_bars or stretch.new_bars or (1, 1)
    one = last < 1 or (first == last) or (first < 1 < last)
    return "is" if one else "are"


def _about(stretch: Stretch, rate: int) -> Sequence[str]:
    about = []
    if stretch.moved_samples is not None and abs(stretch.moved_samples) >= 0.02:
        about.append(_moved(stretch.moved_samples, rate))
    if stretch.new_bars and stretch.new_bars != stretch.old_bars:
        about.append(f"now {bars_words(stretch.new_bars).lower()}")
    if stretch.gain_db is not None and abs(stretch.gain_db) >= 0.1 and stretch.kind != "remixed":
        about.append(f"{abs(stretch.gain_db):.1f} dB {'louder' if stretch.gain_db > 0 else 'softer'}")
    if stretch.inverted:
        about.append("with the polarity reversed")
    copied = stretch.kind in ("identical", "moved", "level")
    if copied and stretch.residual_db is not None and stretch.residual_db > _CODED_DB:
        about.append(f"coded or converted again ({stretch.residual_db:.0f} dB of difference)")
    return about


def _moved(samples: float, rate: int) -> str:
    way = "later" if samples > 0 else "earlier"
    number = abs(samples)
    count = f"{round(number):,}".replace(",", " ") if abs(number - round(number)) < 0.02 else f"{number:.2f}"
    return f"{count} samples ({_seconds(number / rate)}) {way}"


def _seconds(seconds: float) -> str:
    return f"{seconds:.3f} s" if seconds >= 1.0 else f"{1e3 * seconds:.1f} ms"


def _clock_s(difference: Difference) -> str:
    return f"{difference.old_duration_s:.3f} s before, {difference.new_duration_s:.3f} s now"


def _tempo(ratio: float) -> str:
    per_cent = 100.0 * (ratio - 1.0)
    way = "faster" if per_cent > 0 else "slower"
    if abs(per_cent) < 0.02:
        return f"{abs(1e4 * per_cent):.0f} parts in a million {way} (another clock)"
    return f"{abs(per_cent):.2f} % {way}"


def _with_pitch(cents: float) -> str:
    return f" and {_pitch(cents)}" if abs(cents) >= 1.0 else ""


def _pitch(cents: float) -> str:
    way = "higher" if cents > 0 else "lower"
    semitones = round(cents / 100.0)
    if semitones and abs(cents - 100.0 * semitones) < 12.0:
        return f"{_semitones(abs(semitones))} {way}"
    return f"{abs(cents):.0f} cents {way}"


def _semitones(number: int) -> str:
    return "a semitone" if number == 1 else "a whole tone" if number == 2 else f"{number} semitones"


def _length(stretch: Stretch) -> str:
    if stretch.new_bars is None:
        return f"{stretch.beats:.1f} beats are"
    number = stretch.new_bars[1] - stretch.new_bars[0] + 1
    return "A bar is" if number == 1 else f"{number} bars are"
