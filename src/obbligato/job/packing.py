"""A pack as it is to be: every file with its name and content, planned before any is written.

The plan is what the written files are proved against, so that a pack can be proved again at any time.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np

from obbligato.errors import InputError
from obbligato.job.choosing import FLOAT_DEPTH, INTEGER_DEPTH, lossless_depth
from obbligato.job.profiles import Profile, form_of
from obbligato.music.grid import Grid
from obbligato.music.line import Line
from obbligato.music.midi_writing import midi_bytes
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.audio import Audio
from obbligato.sound.dither import dithered
from obbligato.sound.loudness import measure_loudness
from obbligato.sound.peaks import true_peak_dbtp
from obbligato.sound.rate import resample, round_trip_db
from obbligato.sound.wav import BextInfo, wav_bytes
from obbligato.units import amplitude_to_db, db_to_amplitude, seconds_to_clock

Kind = Literal["stem", "mix", "pips", "line", "tempo", "paper"]
MIX_CEILING_DBFS = -1.0


@dataclass(frozen=True, eq=False)
class Source:
    """One sound to deliver, at the guide's rate and length: what it is called and is, and how it came to be."""

    what: str
    role: str
    audio: Audio
    history: str = ""
    kind: Kind = "stem"


@dataclass(frozen=True)
class Document:
    """A file that is ready: the page to play from, say; `content_key` changes when what it says does."""

    part: str
    what: str
    extension: str
    role: str
    content: bytes
    content_key: str


@dataclass(frozen=True, eq=False)
class PlannedFile:
    """One file of the pack.

    Attributes
    ----------
    key
        What it is, the same in every version of a pack.
    digest
        Changes with what the file says, but not with its version or date.
    audio
        Of a sound: exactly the samples that are to be in it.
    """

    name: str
    key: str
    kind: Kind
    role: str
    digest: str
    audio: Audio | None = None
    bit_depth: int = 0
    bext: BextInfo | None = None
    content: bytes = b""

    @property
    def number(self) -> str:
        """How sentences call it."""
        return f"File {self.name[:2]}" if self.name[:2].isdigit() else self.name


@dataclass(frozen=True, eq=False)
class PackPlan:
    """What a pack is made of.

    Attributes
    ----------
    part
        The instrument in a word, as in file names.
    sources
        Sounds to deliver, the part itself first; the mix is made with `sources[mixed]`.
    bext
        What all sounds say of themselves; description and loudness are filled in for each.
    """

    title: str
    part: str
    version: int
    profile: Profile
    guide: Audio
    grid: Grid
    sources: tuple[Source, ...]
    mixed: int = 0
    line: Line | None = None
    program: int = 1
    documents: tuple[Document, ...] = ()
    bext: BextInfo = field(default_factory=BextInfo)

    @property
    def sr(self) -> int:
        """Rate of the delivered sounds in Hz."""
        return self.profile.sample_rate or self.guide.sr

    @cached_property
    def delivered_guide(self) -> Audio:
        """The guide at the pack's rate."""
        return resample(self.guide, self.sr)

    @cached_property
    def mix(self) -> tuple[Audio, float]:
        """Guide plus stem as delivered, and the gain of the whole in dB."""
        stem = self.sound_files[self.mixed].audio
        assert stem is not None
        return context_mix(self.delivered_guide, stem)

    @cached_property
    def sound_files(self) -> tuple[PlannedFile, ...]:
        """The delivered sources, without the mix."""
        return tuple(self._sound(number, source) for number, source in enumerate(self.sources, start=1))

    @cached_property
    def files(self) -> tuple[PlannedFile, ...]:
        """All files, in order of their numbers."""
        planned = [*self.sound_files, self._mix(len(self.sources) + 1)]
        if self.line is not None:
            content = midi_bytes(self.line, self.grid, title=self.title, program=self.program)
            planned.append(self._text(len(planned) + 1, "line", f"{self.part}Line", content, "the line as MIDI"))
        content = tempo_text(self.grid, self.guide.duration_s).encode()
        planned.append(self._text(len(planned) + 1, "tempo", "TempoMap", content, "every bar's time and tempo"))
        if self.line is None:
            content = midi_bytes(None, self.grid, title=self.title, program=self.program)
            planned.append(self._text(len(planned) + 1, "tempo", "TempoMap", content, "the tempo map as MIDI"))
        for document in self.documents:
            planned.append(self._document(len(planned) + 1, document))
        return tuple(planned)

    def name(self, number: int, part: str, extension: str, *, what: str = "", form: str = "") -> str:
        """A file's name in this pack."""
        return self.profile.name(
            number, self.title, part, version=self.version, extension=extension, what=what, form=form
        )

    def _sound(self, number: int, source: Source) -> PlannedFile:
        audio, steps = self._converted(source.audio)
        depth = self.profile.bit_depth or lossless_depth(audio)
        peak_dbfs = float(amplitude_to_db(np.max(np.abs(audio.y), initial=0.0)))
        if depth != FLOAT_DEPTH and peak_dbfs > 0.0:
            raise InputError(
                f"{source.role.capitalize()} passes full scale by {peak_dbfs:.2f} dB, which {depth} bits cannot "
                "hold; deliver 32 bits, or make the take softer first."
            )
        if depth == 16:
            audio = dithered(audio, bit_depth=16)
            steps.append("TPDF dither")
        elif depth == INTEGER_DEPTH:
            audio = on_steps(audio, INTEGER_DEPTH)
        part = "SyncPips" if source.kind == "pips" else self.part
        return PlannedFile(
            name=self.name(number, part, "wav", what=source.what, form=form_of(self.sr, depth)),
            key=f"{source.kind}:{source.what}",
            kind=source.kind,
            role=source.role,
            digest=sound_digest(audio, depth),
            audio=audio,
            bit_depth=depth,
            bext=self._bext(source, audio, depth, steps),
        )

    def _converted(self, audio: Audio) -> tuple[Audio, list[str]]:
        """The sound with the profile's channels and rate, and what was done for it."""
        steps: list[str] = []
        if self.profile.channels == "mono" and audio.channels > 1:
            audio = Audio(audio.mono(), audio.sr)
            steps.append("mean of the channels")
        if self.profile.channels == "stereo" and audio.channels == 1:
            audio = Audio(np.repeat(audio.y, 2, axis=0), audio.sr)
            steps.append("one channel on both sides")
        if audio.sr != self.sr:
            before, audio = audio, resample(audio, self.sr)
            steps.append(f"resampled from {before.sr} Hz, error {round_trip_db(before, audio):.0f} dB")
        return audio, steps

    def _bext(self, source: Source, audio: Audio, depth: int, steps: Sequence[str]) -> BextInfo:
        loudness = measure_loudness(audio)
        first, rest = _mode(source.audio), _mode(audio)
        lines = [f"A=PCM,F={source.audio.sr},M={first},T={source.history or source.role}"]
        if steps:
            lines.append(f"A=PCM,F={audio.sr},W={depth},M={rest},T={'; '.join(steps)}")
        else:
            lines[0] = f"A=PCM,F={audio.sr},W={depth},M={rest},T={source.history or source.role}"
        return replace(
            self.bext,
            description=f"{self.title}, {self.part}, {source.role}; starts with the guide's first sample",
            time_reference=0,
            loudness_lufs=loudness.integrated_lufs,
            loudness_range_lu=loudness.range_lu,
            true_peak_dbtp=true_peak_dbtp(audio),
            max_momentary_lufs=loudness.max_momentary_lufs,
            max_short_term_lufs=loudness.max_short_term_lufs,
            coding_history="".join(f"{line}\r\n" for line in lines),
        )

    def _mix(self, number: int) -> PlannedFile:
        mix, gain_db = self.mix
        mix = on_steps(mix, INTEGER_DEPTH)
        in_mix = self.sound_files[self.mixed]
        lowered = f", turned down by {-gain_db:.1f} dB as a whole" if gain_db else ""
        role = f"guide plus {in_mix.number.replace('File', 'file')}, to check against{lowered}"
        name = self.name(number, self.part, "wav", what="context", form=form_of(self.sr, INTEGER_DEPTH))
        source = Source("context", role, mix)
        bext = self._bext(source, mix, INTEGER_DEPTH, ())
        return PlannedFile(name, "mix", "mix", role, sound_digest(mix, INTEGER_DEPTH), mix, INTEGER_DEPTH, bext)

    def _text(self, number: int, kind: Kind, part: str, content: bytes, role: str) -> PlannedFile:
        extension = "mid" if content.startswith(b"MThd") else "txt"
        name = self.name(number, part, extension)
        digest = hashlib.sha256(content).hexdigest()
        return PlannedFile(name, f"{kind}:{extension}", kind, role, digest, content=content)

    def _document(self, number: int, document: Document) -> PlannedFile:
        name = self.name(number, document.part, document.extension, what=document.what)
        key = f"paper:{document.part}{document.what}.{document.extension}"
        return PlannedFile(name, key, "paper", document.role, document.content_key, content=document.content)


def write_planned(planned: PlannedFile, folder: Path) -> Path:
    """Write one file of a plan."""
    path = folder / planned.name
    content = planned.content
    if planned.audio is not None:
        content = wav_bytes(planned.audio, bit_depth=planned.bit_depth, bext=planned.bext)
    write_bytes_at_once(path, content)
    return path


def context_mix(guide: Audio, stem: Audio) -> tuple[Audio, float]:
    """Guide plus stem, the sum turned down as a whole where it would pass -1 dBFS; the gain is stated."""
    total = guide.y + stem.y if stem.channels in (1, guide.channels) else guide.y.mean(axis=0) + stem.y
    peak_dbfs = float(amplitude_to_db(np.max(np.abs(total), initial=0.0)))
    gain_db = min(0.0, MIX_CEILING_DBFS - peak_dbfs)
    if gain_db == 0.0:
        return Audio(total, guide.sr), 0.0
    gain_db = float(np.floor(gain_db * 10.0) / 10.0)
    return Audio(total * np.float32(db_to_amplitude(gain_db)), guide.sr), gain_db


def on_steps(audio: Audio, bit_depth: int) -> Audio:
    """The sound rounded to the nearest step, as it is written; no dither, far below any room's noise at 24 bits."""
    steps = np.float32(2 ** (bit_depth - 1))
    return Audio(np.minimum(np.rint(audio.y * steps), steps - 1) / steps, audio.sr)


def sound_digest(audio: Audio, bit_depth: int) -> str:
    """The fingerprint of samples, rate, channels and depth."""
    head = f"{audio.sr} {audio.channels} {bit_depth} ".encode()
    return hashlib.sha256(head + np.ascontiguousarray(audio.y).tobytes()).hexdigest()


def tempo_text(grid: Grid, duration_s: float) -> str:
    """The tempo map for people: where each bar begins in the guide's file, and how fast it goes there."""
    lines = [f"Metre {grid.meter}; tempo in {grid.meter.beat_unit}s a minute; time from the file's first sample.", ""]
    for bar in grid.bars_in(0.0, duration_s):
        start_s = grid.bar_to_sec(bar)
        lines.append(f"bar {bar:4d}   {seconds_to_clock(start_s)}   {grid.bpm_at(start_s + 1e-6):.2f}")
    return "\n".join([*lines, ""])


def _mode(audio: Audio) -> str:
    return {1: "mono", 2: "stereo"}.get(audio.channels, "multitrack")
