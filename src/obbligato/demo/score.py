"""The invented song: a slow 12/8 ballad with room for a flugelhorn. Title, words, singer and client are made up."""

from __future__ import annotations

from obbligato.demo.song import PlacedKey, Section, Song, SungNote, read_chords, read_line, read_phrase
from obbligato.music.grid import Meter

BPM = 58.63
HEAD_S = 0.413
TAIL_S = 3.27
TUNING_CENTS = 6.7

_SECTIONS = (
    Section("A", "Intro", 1, 4, "light"),
    Section("B", "Verse 1", 5, 8, "verse"),
    Section("C", "Verse 2", 13, 8, "verse"),
    Section("D", "Break", 21, 2, "stop"),
    Section("E", "Chorus", 23, 8, "chorus"),
    Section("F", "Solo", 31, 8, "chorus"),
    Section("G", "Last chorus", 39, 8, "chorus"),
    Section("H", "Outro", 47, 4, "last"),
)

_VERSE_CHORDS = "Eb:maj | Eb:maj/3 | Ab:maj7 | Bb:7 | C:min7 | G:min7 | Ab:maj7 F:min7 | Bb:sus4 Bb:7"
_CHORDS = (
    *read_chords(1, "Eb:maj | C:min7 | Ab:maj7 | Bb:7"),
    *read_chords(5, _VERSE_CHORDS),
    *read_chords(13, _VERSE_CHORDS),
    *read_chords(21, "Eb:maj | Ab:maj Bb:7"),
    *read_chords(23, "C:min7 | Ab:maj | Eb:maj | Bb:maj | C:min7 | Ab:maj | F:min7 Bb:7 | Eb:maj"),
    *read_chords(31, "Eb:maj | G:min7 | C:min7 | Ab:maj7 | F:min7 | Bb:7 | Ab:maj7 Bb:7 | Bb:7 C:7"),
    *read_chords(39, "D:min7 | Bb:maj | F:maj | C:maj | D:min7 | Bb:maj | G:min7 C:7 | F:maj"),
    *read_chords(47, "F:maj | D:min7 | Bb:maj7 C:7 | F:maj"),
)

_VERSES = (
    read_line(
        "4:12",
        "Bb3 1, Eb4 2, F4 1, G4 2, F4 1, Eb4 4, F4 2, G4 3",
        "The=D.@. fer=f.e. ry=r.i. keeps=k.i.ps no=n.ou. clock=kl.a.k at=.A.t all=.o.l",
    ),
    read_line(
        "6:12",
        "Eb4 1, Ab4 3, G4 2, F4 1, Eb4 2, C4 1, Eb4 3, F4 4",
        "It=.I.t leaves=l.i.vz when=w.e.n the=D.@. wa=w.o. ter=t.3. is=.I.z kind=k.ai.nd",
    ),
    read_line(
        "9:1",
        "Eb4 1, G4 2, G4 2, F4 1, Eb4 3, C4 2, D4 1, D4 2, C4 1, Bb3 4",
        "I=.ai. left=l.e.ft you=j.u. a=.@. lamp=l.A.mp by=b.ai. the=D.@. har=h.a. bour=b.3. wall=w.o.l",
    ),
    read_line(
        "10:11",
        "Bb3 1, C4 1, Eb4 3, C4 2, D4 1, F4 3, Eb4 3, Eb4 1, D4 3",
        "And=.A.nd the=D.@. rest=r.e.st I=.ai. have=h.A.v left=l.e.ft be=b.i. hind=h.a.nd ~",
    ),
    read_line(
        "13:1",
        "Eb4 2, F4 1, G4 2, G4 1, F4 3, G4 2, F4 1, Eb4 4",
        "You=j.u. wrote=r.ou.t to=t.u. me=m.i. on=.a.n pa=p.eI. per=p.3. boats=b.ou.ts",
    ),
    read_line(
        "15:1",
        "Eb4 1, Ab4 2, G4 3, F4 3, Eb4 3, F4 4",
        "They=D.eI. came=k.eI.m in=.I.n one=w.@.n by=b.ai. one=w.@.n",
    ),
    read_line(
        "17:1",
        "Eb4 1, G4 2, G4 2, F4 1, Eb4 3, C4 2, D4 1, D4 2, C4 1, D4 3, Bb3 3",
        "I=.ai. dried=dr.ai.d ev=.e. ery=vr.i. word=w.3.d on=.a.n the=D.@. back=b.A.k of=.@.v my=m.ai. coat=k.ou.t",
    ),
    read_line(
        "19:1",
        "C4 1, C4 2, Eb4 3, Eb4 2, F4 1, Ab4 2, G4 1, F4 9",
        "And=.A.nd I=.ai. hung=h.@.n them=D.e.m up=.@.p in=.I.n the=D.@. sun=s.@.n",
    ),
)

_CHORUS = (
    (
        0,
        "1",
        "G4 2, C5 4, Bb4 2, G4 4, G4 1, Ab4 3, G4 2, Eb4 4",
        "So=s.ou. slow=sl.ou. so=s.ou. slow=sl.ou. the=D.@. tide=t.ai.d will=w.I.l know=n.ou.",
    ),
    (
        2,
        "1",
        "Eb4 1, G4 2, F4 3, Eb4 3, F4 3, F4 4",
        "The=D.@. road=r.ou.d we=w.i. nev=n.e. er=v.3. found=f.au.nd",
    ),
    (
        4,
        "1",
        "Eb4 1, G4 1, Bb4 1, C5 5, Bb4 2, G4 2, Ab4 3, G4 2, F4 1, Eb4 4",
        "And=.A.nd I'll=.ai.l be=b.i. here=h.i. with=w.I.D an=.A.n oar=.o. and=.A.n a=.@. light=l.ai.t",
    ),
    (6, "1", "F4 2, G4 1, Ab4 6, F4 3, Eb4 6", "When=w.e.n you=j.u. turn=t.3.n a=.@. round=r.au.nd"),
)


def _chorus(first_bar: int, semitones: int) -> tuple[tuple[SungNote, ...], ...]:
    return tuple(
        read_line(f"{first_bar + bar}:{eighth}", melody, words, semitones=semitones)
        for bar, eighth, melody, words in _CHORUS
    )


_PHRASES = (
    read_phrase("2:12", "Bb4 1, C5 4, Bb4 2, G4 3, Ab4 3, F4 6", 70),
    read_phrase("8:5", "D4 1, F4 1, Bb4 3, Ab4 1, G4 3", 64),
    read_phrase("14:5", "Bb4 1, C5 1, Eb5 3, D5 1, Bb4 5", 70),
    read_phrase("16:5", "F4 0.5, G4 0.5, Ab4 1, Bb4 2, D5 1, C5 2, Bb4 4", 72),
    read_phrase("20:10", "Bb4 1, D5 1, F5 1, Eb5 5, D5 1, C5 2, Bb4 1, G4 3, Ab4 5", 78),
    read_phrase("22:8", "Ab4 1, Bb4 1, C5 1, D5 2, Eb5 6", 82),
    read_phrase("26:5", "F4 1, Bb4 1, D5 3, C5 1, Bb4 1, G4 5", 76),
    read_phrase("30:10", "Eb4 1, F4 1, G4 1, Bb4 6, C5 0.5, Bb4 0.5, G4 1, F4 1, G4 3, G4 2, Bb4 1, D5 5", 80),
    read_phrase("32:12", "C5 1, Eb5 3, D5 1, C5 1, Bb4 1, G4 4, Bb4 1, C5 1, Eb5 3, C5 5", 84),
    read_phrase("34:11", "Ab4 1, Bb4 1, C5 2, Eb5 1, F5 4, Eb5 1, C5 1, Ab4 1, Bb4 1, C5 1, D5 5, Bb4 2", 90),
    read_phrase("36:11", "D5 1, F5 1, G5 5, Eb5 1, F5 3, D5 3, F5 3, D5 3", 98),
    read_phrase("39:4", "D4 3, F4 3, A4 3, F4 6, D4 4", 74),
    read_phrase("42:5", "G4 1, C5 1, E5 3, D5 1, C5 1, A4 5", 84),
    read_phrase("43:10", "A4 3, D5 6, C5 1, Bb4 2, A4 3, Bb4 4", 82),
    read_phrase("46:7", "F4 1, A4 1, C5 3, D5 1, F5 6, E5 1, C5 2, A4 3, D5 4", 86),
    read_phrase("48:10", "F4 1, A4 1, C5 1, D5 6, C5 3, G4 3, A4 6", 68),
)

SONG = Song(
    title="The Ferry Keeps No Clock",
    singer="Maro Vellinge",
    client="Tessaly Orrin, Wickerlight Kitchen Recordings",
    bpm=BPM,
    meter=Meter.from_signature("12/8"),
    head_s=HEAD_S,
    tail_s=TAIL_S,
    count_in_bars=1,
    tuning_cents=TUNING_CENTS,
    sections=_SECTIONS,
    chords=_CHORDS,
    keys=(PlacedKey(1, "Eb", "major"), PlacedKey(39, "F", "major")),
    lines=(*_VERSES, *_chorus(23, 0), *_chorus(39, 2)),
    phrases=_PHRASES,
)
