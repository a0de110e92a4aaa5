"""The song map of a job: what was heard, what the player put right, and the two applied together."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from typing import Any

from pydantic import TypeAdapter

from obbligato.errors import InputError, NoBeatError
from obbligato.job.correcting import corrected_grid, with_corrected_form
from obbligato.job.intake import guide_audio, guide_facts, vocal_audio
from obbligato.job.model import Corrections
from obbligato.job.statements import Statements, stated
from obbligato.job.store import JobFolder, fingerprint
from obbligato.job.tapping import steady_from_taps, tapped_beat
from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import SungWords
from obbligato.progress import Progress, part_of, silent
from obbligato.sound.atomic import write_bytes_at_once
from obbligato.sound.facts import SourceFacts
from obbligato.units import seconds_to_clock

FINDINGS = "guide/findings.json"
CORRECTIONS = "guide/corrections.json"
EARLIER_CORRECTIONS = "guide/corrections-before.json"
UNDO_STEPS = 200
HEARD_SO_FAR = "heard-so-far.json"
LISTENER = 3
"""Grows whenever listening finds something else in the same file."""

_SONG_MAP = TypeAdapter(SongMap)
_STATES = TypeAdapter(list[Corrections])


def song_map_to_json(song: SongMap) -> dict[str, Any]:
    """The map as plain JSON values, in the shape of `listen --json`."""
    result: dict[str, Any] = _SONG_MAP.dump_python(song, mode="json")
    return result


def corrections(folder: JobFolder) -> Corrections:
    """What the player put right so far."""
    path = folder.path(CORRECTIONS)
    return Corrections.model_validate_json(path.read_bytes()) if path.exists() else Corrections()


def sung_words(folder: JobFolder) -> tuple[SungWords, ...]:
    """The words that the player typed in, in the order in which they are sung."""
    typed = sorted(corrections(folder).words, key=lambda words: words.at_s)
    return tuple(SungWords(words.at_s, words.text) for words in typed)


def map_key(folder: JobFolder) -> str:
    """Fingerprint of everything the song map depends on."""
    return fingerprint(folder.job.guide.sha256, LISTENER, _as_stamped(corrections(folder)))


def findings(folder: JobFolder, *, fixes: Corrections | None = None, progress: Progress = silent) -> SongMap:
    """What listening found, without corrections; listened to once and kept in the job folder.

    Where no beat can be heard, the tempo, bar 1 and metre of `fixes` (those in force, if left out) stand in for it.

    Raises
    ------
    NoBeatError
        When no beat can be heard and no tempo was given by hand.
    """
    path = folder.path(FINDINGS)
    stamp = {"guide_sha256": folder.job.guide.sha256, "listener": LISTENER}
    if path.exists():
        kept = json.loads(path.read_bytes())
        if {name: kept.get(name) for name in stamp} == stamp:
            return _SONG_MAP.validate_python(kept["findings"])
    from obbligato.listen.pipeline import listen

    folder.require_writable()
    progress(0.0, "reading the guide")
    audio = guide_audio(folder)
    vocal, rest = vocal_audio(folder), part_of(progress, 0.1, 1.0)

    def measure() -> SourceFacts:
        return guide_facts(folder, audio)

    def so_far(song: SongMap) -> None:
        folder.keep(HEARD_SO_FAR, json.dumps(song_map_to_json(song)).encode())

    try:
        song = listen(audio, measure, vocal=vocal, so_far=so_far, progress=rest)
    except NoBeatError:
        fixes = corrections(folder) if fixes is None else fixes
        if fixes.bpm is None and not fixes.tapped_s:
            raise
        grid = _stated_grid(fixes)
        song = listen(audio, measure, vocal=vocal, grid=grid, so_far=so_far, progress=rest)
    write_bytes_at_once(
        path, json.dumps({**stamp, "findings": song_map_to_json(song)}, indent=1).encode(), overwrite=True
    )
    folder.path(f".cache/{HEARD_SO_FAR}").unlink(missing_ok=True)
    folder.note("map", "listened to the guide")
    return song


def heard_so_far(folder: JobFolder) -> SongMap | None:
    """What listening under way has found already: tempo, metre and grid, the rest still empty."""
    kept = folder.cached(HEARD_SO_FAR)
    return None if kept is None else _SONG_MAP.validate_json(kept)


def map_is_ready(folder: JobFolder) -> bool:
    """Whether `song_map` can be had without listening."""
    if not folder.path(FINDINGS).is_file():
        return False
    return corrections(folder).of_the_map == Corrections() or folder.cached(_corrected_key(folder)) is not None


def _corrected_key(folder: JobFolder) -> str:
    return f"map-{map_key(folder)}.json"


def song_map(folder: JobFolder, *, progress: Progress = silent) -> SongMap:
    """The findings with the player's corrections applied."""
    song = findings(folder, progress=progress)
    fixes = corrections(folder)
    if fixes.of_the_map == Corrections():
        return song
    key = _corrected_key(folder)
    kept = folder.cached(key)
    if kept is not None:
        return _SONG_MAP.validate_json(kept)
    song = _apply(folder, song, fixes, progress)
    folder.keep(key, json.dumps(song_map_to_json(song)).encode())
    return song


def must_listen(folder: JobFolder) -> bool:
    """Whether the guide has to be heard, in whole or in part, before the song map can be told."""
    path, fixes = folder.path(FINDINGS), corrections(folder)
    if not path.exists():
        return True
    if folder.cached(f"map-{map_key(folder)}.json") is not None:
        return False
    song = findings(folder)
    grid = corrected_grid(song, fixes)
    return bool(fixes.singer) or (grid != song.to_grid() and folder.cached(_grid_key(folder, grid)) is None)


def correct(
    folder: JobFolder,
    *,
    bpm: float | None = None,
    double: bool = False,
    halve: bool = False,
    shift_beats: float | None = None,
    bar_1: str | None = None,
    meter: str | None = None,
    keys: tuple[str, ...] = (),
    taps_s: tuple[float, ...] = (),
    bar_1_near_s: float | None = None,
    chords: tuple[str, ...] = (),
    sections: tuple[str, ...] = (),
    singer: tuple[str, ...] = (),
    confirmed: tuple[str, ...] = (),
    words: tuple[str, ...] = (),
    undo_last: bool = False,
    undo_all: bool = False,
    progress: Progress = silent,
) -> Corrections:
    """Add corrections by hand to those made before; each is checked before any is kept.

    Parameters
    ----------
    bar_1
        A clock time for bar 1, taken as it stands.
    bar_1_near_s
        Where bar 1 was tapped, in seconds: the beat nearest to it is taken.
    keys
        `Bb major` for the whole song, `57=Db major` from a bar on.
    taps_s
        Beats tapped along, in seconds of the guide; what was said of the tempo before is forgotten.
    chords, sections, singer
        `12:3=Cm7` (sounding), `17=B`, `9-12=no`; bars are those of the map with this call's tempo and bar 1 in it.
    confirmed
        What was in doubt and is right as heard: `tempo`, `meter`, `keys`.
    words
        `17=When the harbour` are the words that begin in that bar; they stand as cues on the page.
    undo_last, undo_all
        Take back the newest change, or all of them, before anything else.
    """
    if double and halve:
        raise InputError("--double and --halve undo each other; give one of them.")
    before = corrections(folder)
    start = _undone(folder) if undo_last else Corrections() if undo_all else before
    said = Statements(
        bpm=bpm,
        counted_times=2.0 if double else 0.5 if halve else None,
        shift_beats=shift_beats,
        bar_1=bar_1,
        bar_1_near_s=bar_1_near_s,
        meter=meter,
        keys=keys,
        taps_s=taps_s,
        chords=chords,
        sections=sections,
        singer=singer,
        confirmed=confirmed,
        words=words,
    )

    def heard(fixes: Corrections) -> SongMap:
        return findings(folder, fixes=fixes, progress=progress)

    fixes = stated(start, said, heard)
    if fixes != before:
        folder.require_writable()
        _require_in_the_song(heard(fixes), fixes)
        _keep(folder, before, fixes, undone=undo_last)
        undo = "corrections undone" if undo_all else "last correction undone"
        folder.note(
            "map", undo if (undo_all or undo_last) and fixes == start else f"corrected by hand: {in_words(fixes)}"
        )
    return fixes


def can_undo(folder: JobFolder) -> bool:
    """Whether there is a change of the corrections to take back."""
    return bool(_earlier(folder))


def in_words(fixes: Corrections) -> str:
    """The corrections in force, one after the other."""
    times = Fraction(fixes.counted_times or 1)
    words = [
        _number(len(fixes.tapped_s), "beat tapped", "beats tapped"),
        f"counted {times} times as fast" if times != 1 else "",
        f"{fixes.bpm:.5g} beats a minute" if fixes.bpm is not None else "",
        f"metre {fixes.meter}" if fixes.meter else "",
        f"bar 1 at {seconds_to_clock(fixes.bar_1_s)}" if fixes.bar_1_s is not None else "",
        f"bar 1 moved by {fixes.shift_beats:+g} beats" if fixes.shift_beats else "",
        *(f"{key.tonic} {key.mode} from bar {key.from_bar}" for key in fixes.keys),
        _number(len(fixes.chords), "chord", "chords"),
        _number(len(fixes.sections), "section letter", "section letters"),
        _number(len(fixes.singer), "stretch of the singer", "stretches of the singer"),
        *(f"{name} confirmed" for name in fixes.confirmed),
        _number(len(fixes.words), "line of words", "lines of words"),
    ]
    return ", ".join(word for word in words if word)


def _number(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}" if number else ""


def _as_stamped(fixes: Corrections) -> str:
    """Corrections as fingerprinted: those of the map; kinds that a job does not use leave its fingerprints alone."""
    fixes = fixes.of_the_map
    unused = {
        name
        for name in ("tapped_s", "chords", "sections", "singer", "confirmed", "words")
        if not getattr(fixes, name)
    }
    return fixes.model_dump_json(exclude=unused)


def _stated_grid(fixes: Corrections) -> Grid:
    meter = Meter.from_signature(fixes.meter or "4/4")
    if fixes.bpm is None:
        return steady_from_taps(tapped_beat(fixes.tapped_s), meter)
    return Grid.steady(fixes.bpm, fixes.bar_1_s or 0.0, meter)


def _earlier(folder: JobFolder) -> list[Corrections]:
    """The corrections as they stood before each change, oldest first."""
    path = folder.path(EARLIER_CORRECTIONS)
    return _STATES.validate_json(path.read_bytes()) if path.exists() else []


def _undone(folder: JobFolder) -> Corrections:
    earlier = _earlier(folder)
    if not earlier:
        raise InputError("No correction has been made that could be undone.")
    return earlier[-1]


def _keep(folder: JobFolder, before: Corrections, fixes: Corrections, *, undone: bool) -> None:
    """Write the corrections, and first those before them, so that a crash between the two loses neither."""
    earlier = _earlier(folder)
    states = earlier[:-1] if undone else [*earlier, before][-UNDO_STEPS:]
    path = folder.path(EARLIER_CORRECTIONS)
    write_bytes_at_once(path, _STATES.dump_json(states, exclude_defaults=True), overwrite=True)
    write_bytes_at_once(folder.path(CORRECTIONS), fixes.model_dump_json(indent=2).encode(), overwrite=True)


def _require_in_the_song(song: SongMap, fixes: Corrections) -> None:
    """Refuse corrections that point outside the song: nothing could be drawn or delivered with them."""
    end_s, grid = song.source.duration_s, corrected_grid(song, fixes)
    if not -end_s < grid.bar_1_s < end_s:
        raise InputError(
            f"Bar 1 would begin at {grid.bar_1_s:.1f} s, but the guide lasts {end_s:.1f} s; give a place inside it."
        )
    for key in fixes.keys:
        if grid.bar_to_sec(key.from_bar) >= end_s:
            last = grid.position_at(end_s).bar
            raise InputError(f"There is no bar {key.from_bar} to put a key at; the song ends in bar {last}.")


def _apply(folder: JobFolder, song: SongMap, fixes: Corrections, progress: Progress) -> SongMap:
    song = _heard_on_grid(folder, song, fixes, progress)
    corrected = with_corrected_form(song, fixes)
    if fixes.singer:
        from obbligato.listen.openings import find_openings

        openings = find_openings(guide_audio(folder), corrected.voice, corrected.to_grid())
        corrected = replace(corrected, openings=openings)
    return corrected


def _heard_on_grid(folder: JobFolder, song: SongMap, fixes: Corrections, progress: Progress) -> SongMap:
    """What hangs on bars, heard on the corrected grid; kept, since other corrections leave it as it is."""
    grid = corrected_grid(song, fixes)
    if grid == song.to_grid():
        return song
    key = _grid_key(folder, grid)
    kept = folder.cached(key)
    if kept is not None:
        return _SONG_MAP.validate_json(kept)
    from obbligato.listen.pipeline import relisten_with_grid

    song = relisten_with_grid(guide_audio(folder), song, grid, progress=progress)
    folder.keep(key, json.dumps(song_map_to_json(song)).encode())
    return song


def _grid_key(folder: JobFolder, grid: Grid) -> str:
    return f"heard-{fingerprint(folder.job.guide.sha256, LISTENER, grid)}.json"
