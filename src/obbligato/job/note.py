"""The delivery note: what was sent, how to import it, and what was proved, as text and as a PDF."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from obbligato.job.choosing import Comp
from obbligato.job.model import Brief
from obbligato.job.packing import PackPlan
from obbligato.job.proof import AudioFacts, Check
from obbligato.job.redelivery import Redelivery
from obbligato.job.store import JobFolder, now
from obbligato.listen.songmap import SongMap
from obbligato.page.documents import document_pdf
from obbligato.units import seconds_to_clock

IMPORT_RULE = "Put every file at the very start of your session, at its own rate: it is then in time and in place."


@dataclass(frozen=True)
class NoteFacts:
    """Everything the delivery note states; `day` is that of the comp, so that the same decisions give the same note.

    Attributes
    ----------
    mixing
        What whoever mixes should know.
    changes
        Of a delivery of what changed: since which version, what it is, and which files stay good.
    """

    brief: Brief
    instrument: str
    version: int
    day: date
    guide_name: str
    guide_sha256: str
    tempo: str
    bar_1: str
    key: str
    tuning: str
    approval: str
    audio: tuple[AudioFacts, ...]
    checks: tuple[Check, ...]
    mixing: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        folder: JobFolder,
        song: SongMap,
        comp: Comp,
        plan: PackPlan,
        *,
        audio: tuple[AudioFacts, ...],
        checks: tuple[Check, ...],
        again: Redelivery | None,
    ) -> NoteFacts:
        """Collect the facts from a job and its pack."""
        job, made = folder.job, folder.job.last_made("choose")
        steady = "" if song.tempo.steady else " on average; the tempo moves, see the MIDI file's tempo map"
        return cls(
            brief=job.brief,
            instrument=job.instrument,
            version=plan.version,
            day=(made.at if made is not None else now()).date(),
            guide_name=job.guide.received.rpartition("/")[2],
            guide_sha256=job.guide.sha256,
            tempo=f"{song.tempo.bpm:.2f} {song.meter.beat_unit}s a minute{steady}",
            bar_1=f"{seconds_to_clock(song.grid.bar_1_s)} (bar 1 beat 1 on the guide's clock)",
            key=", then ".join(f"{key.tonic} {key.mode}" for key in song.keys) or "not stated",
            tuning=f"A4 = {song.tuning.a4_hz:.1f} Hz ({song.tuning.cents:+.1f} cents)",
            approval=_approval_words(folder),
            audio=audio,
            checks=checks,
            mixing=_mixing(folder, comp, plan),
            changes=_changes(again) if again is not None else (),
        )


def _mixing(folder: JobFolder, comp: Comp, plan: PackPlan) -> tuple[str, ...]:
    """What whoever mixes should know: what was done to the sound, and what was not."""
    mended = sorted(number for number, texts in folder.job.mended.items() if texts)
    said = ["The dry files are as recorded: not normalised, no equaliser, no compression, no reverb."]
    gained = [f"{gain_db:+.1f} dB" for gain_db in comp.gains_db.values() if gain_db]
    if gained:
        said.append(f"To match the takes, gain was put on {len(gained)} of them: {', '.join(gained)}.")
    if mended:
        mends = "; ".join(f"take {number}: {', '.join(folder.job.mended[number])}" for number in mended)
        said.append(f"Put right before joining: {mends}.")
    joins = len(comp.assessment.seams)
    said.append(f"The part is joined at {joins} places." if joins else "The part is one take, not joined.")
    if plan.profile.sample_rate not in (None, plan.guide.sr):
        said.append(f"Converted from {plan.guide.sr} Hz; how well, the coding history of each file says.")
    if plan.mix[1]:
        said.append(f"The context mix is {-plan.mix[1]:.1f} dB down as a whole, so that it does not clip.")
    return tuple(said)


def _changes(again: Redelivery) -> tuple[str, ...]:
    kept = [name for _, name, _ in again.kept]
    stays = f"These stay good, keep using them: {', '.join(kept)}." if kept else "Nothing of the earlier pack stays."
    return (f"This pack holds only what changed since delivery {again.since}.", *again.sentences, stays)


def first_sound_words(facts: AudioFacts) -> str:
    """Sync proof without ears: the first audible note as time and bar."""
    if facts.first_sound_s is None or facts.first_sound_at is None:
        return "silent"
    bar, beat = facts.first_sound_at
    return f"{seconds_to_clock(facts.first_sound_s)}, bar {bar} beat {beat:.1f}"


def last_sound_words(facts: AudioFacts) -> str:
    """How long the file stays quiet at its end."""
    if facts.last_sound_s is None:
        return "no sound"
    return f"quiet for the last {max(0.0, facts.frames / facts.sample_rate - facts.last_sound_s):.1f} s"


def note_text(note: NoteFacts) -> str:
    """The note as plain text."""
    lines = [
        f"DELIVERY NOTE: {note.brief.title}, {note.instrument}, version {note.version}",
        f"{note.day.isoformat()}   from {note.brief.player or '-'} to {note.brief.client or '-'}",
        "",
        IMPORT_RULE,
        "",
        f"Guide:   {note.guide_name} (SHA-256 {note.guide_sha256[:16]}...)",
        f"Tempo:   {note.tempo}",
        f"Bar 1:   {note.bar_1}",
        f"Key:     {note.key}",
        f"Tuning:  {note.tuning}",
        f"Yes:     {note.approval}",
        "",
        *(("CHANGES", *(f"  - {words}" for words in note.changes), "") if note.changes else ()),
        "FILES",
    ]
    for facts in note.audio:
        channels = {1: "mono", 2: "stereo"}.get(facts.channels, f"{facts.channels} channels")
        lines += [
            f"  {facts.name}",
            f"    {facts.role}",
            f"    {facts.sample_rate} Hz, {facts.bit_depth} bit, {channels}, {facts.frames} frames, "
            f"true peak {facts.true_peak_dbtp:.1f} dBTP, {facts.lufs:.1f} LUFS",
            f"    first audible note at {first_sound_words(facts)}; {last_sound_words(facts)}",
            f"    SHA-256 {facts.sha256}",
        ]
    lines += [
        "",
        "FOR THE MIX",
        *(f"  - {words}" for words in note.mixing),
        "",
        "PROVED BY OPENING THE WRITTEN FILES AGAIN",
        *(f"  - {check.sentence}" for check in note.checks),
        "",
    ]
    return "\n".join(lines)


_FIGURES = re.compile(r" \(-?[\d.]+ dBFS at the highest sample\)|, -?[\d.]+ LUFS,|, -?[\d.]+ dBTP")
"""What the paper has among the facts of each file."""


def checks_in_short(checks: tuple[Check, ...]) -> list[str]:
    """What was proved, with what holds of the same files in one sentence, so that the paper stays short."""
    files_of: dict[str, list[str]] = {}
    for check in checks:
        about = re.match(r"File (\d\d),? ", check.sentence)
        words = check.sentence[about.end() :] if about else check.sentence
        words = _FIGURES.sub("", words)
        files_of.setdefault(words.removesuffix("."), []).extend([about[1]] if about else [])
    said: dict[tuple[str, ...], list[str]] = {}
    for words, files in files_of.items():
        said.setdefault(tuple(files), []).append(words)
    return [
        "; ".join(words) + "."
        if not files
        else f"{'File' if len(files) == 1 else 'Files'} {', '.join(files)}: {'; '.join(words)}."
        for files, words in said.items()
    ]


def note_pdf(note: NoteFacts) -> bytes:
    """The note as a PDF."""
    return document_pdf(
        "delivery-note",
        {
            "title": note.brief.title,
            "client": note.brief.client,
            "player": note.brief.player,
            "instrument": note.instrument,
            "version": note.version,
            "date": note.day.isoformat(),
            "import_rule": IMPORT_RULE,
            "facts": [
                ["Guide", f"{note.guide_name} (SHA-256 {note.guide_sha256[:16]}…)"],
                ["Tempo", note.tempo],
                ["Bar 1", note.bar_1],
                ["Key", note.key],
                ["Tuning", note.tuning],
                ["Approval", note.approval],
            ],
            "files": [
                {
                    "name": facts.name,
                    "role": facts.role,
                    "format": f"{facts.sample_rate} Hz · {facts.bit_depth} bit · "
                    f"{ {1: 'mono', 2: 'stereo'}.get(facts.channels, str(facts.channels)) }",
                    "frames": facts.frames,
                    "peak": f"{facts.true_peak_dbtp:.1f} dBTP",
                    "loudness": f"{facts.lufs:.1f} LUFS",
                    "first_note": first_sound_words(facts),
                    "sha256": facts.sha256[:16],
                }
                for facts in note.audio
            ],
            "checks": checks_in_short(note.checks),
            "mixing": list(note.mixing),
            "changes": list(note.changes),
        },
    )


def _approval_words(folder: JobFolder) -> str:
    rounds = folder.job.rounds
    if not rounds:
        return "no review was sent"
    last = rounds[-1]
    if last.replied_at is None:
        return f"round {last.number} was sent and not answered"
    who = f" by {last.replied_by}" if last.replied_by else ""
    if last.asks_for_changes:
        return f"round {last.number} was answered{who} on {last.replied_at:%Y-%m-%d}, with changes asked for"
    words = f"line version {last.line_version} approved{who} on {last.replied_at:%Y-%m-%d}"
    newest = folder.job.lines[-1].version if folder.job.lines else last.line_version
    return words if newest == last.line_version else f"version {newest} was not shown to the client; {words}"
