"""The songs of the bench."""

from __future__ import annotations

from .spec import Spec

_F = "form"


def _songs() -> list[Spec]:
    """Every song; `quick` marks the twelve that are enough to see whether something broke."""
    return [
        # invented songs, bank: styles, tempi, tunings, singers, count-ins
        Spec("pop 112", _F, "pop band", 112.0, 1, count_in="one bar", singer="alto", comp=4, bass=34, quick=True),
        Spec("pop loud 127", _F, "pop band", 127.0, 3, mix="loud", count_in="sticks", singer="wide", rise=True),
        Spec("pop rise 118", _F, "pop band", 118.0, 4, singer="pulses high", rise=True, comp=2, seconds=120.0),
        Spec("pop lead 104", _F, "pop band", 104.0, 5, lead=66, comp=4, count_in="two bars", mix="mp3"),
        Spec("pop spoken 88", _F, "pop band", 88.0, 6, count_in="spoken", singer="pulses low", comp=16),
        Spec("pop halves 100", _F, "pop band", 100.0, 7, count_in="halves", singer="soft", comp=11, mode="minor"),
        Spec("soul 92", _F, "soul", 92.0, 8, singer="alto", sevenths=0.7, comp=4, bass=36, a4_hz=441.0, quick=True),
        Spec("soul 76.73", _F, "soul", 76.73, 9, singer="backed", voice_db=0.0, sevenths=0.6, count_in="sticks"),
        Spec("acoustic 84", _F, "acoustic", 84.0, 11, singer="soft", comp=25, a4_hz=434.0, quick=True),
        Spec("acoustic 121.2", _F, "acoustic", 121.2, 12, singer="tenor", comp=24, rise=True, mix="lo-fi"),
        Spec("ballad 66", _F, "bare ballad", 66.0, 14, singer="alto", comp=0, bass=43, seconds=110.0, quick=True),
        Spec("ballad 58.5", _F, "bare ballad", 58.5, 15, singer="pulses high", count_in="beep", seconds=110.0),
        Spec("pads 70", _F, "pads", 70.0, 17, singer="soft", comp=16, bass=32, seconds=110.0, count_in="one bar"),
        Spec("dance 124", _F, "dance", 124.0, 18, sound="synth", singer="wide", comp=0, mode="minor", mix="loud"),
        Spec("dance 128", _F, "dance", 128.0, 19, sound="synth", comp=1, mix="mp3", seconds=120.0, quick=True),
        Spec("dance 140.5", _F, "dance", 140.5, 20, sound="synth", lead=80, comp=2, mode="minor", count_in="beep"),
        Spec("break 172", _F, "break", 172.0, 22, sound="synth", comp=0, mode="minor", mix="aac"),
        Spec("break 160", _F, "break", 160.0, 23, singer="wide", voice_db=0.0, count_in="sticks", a4_hz=446.0),
        Spec("swing 138", _F, "swing", 138.0, 24, lead=66, sevenths=0.9, comp=0, bass=32, count_in="one bar"),
        Spec("swing 196", _F, "swing", 196.0, 25, lead=57, sevenths=0.9, comp=26, count_in="halves"),
        Spec("swing 112 sung", _F, "swing", 112.0, 26, singer="alto", sevenths=0.8, comp=0, mix="lo-fi", quick=True),
        Spec("shuffle 98", _F, "shuffle", 98.0, 27, singer="pulses low", sevenths=0.4, comp=27, count_in="sticks"),
        Spec("shuffle 126.6", _F, "shuffle", 126.6, 28, singer="tenor", comp=29, voice_db=0.0, rise=True, mix="loud"),
        Spec("son 104", _F, "son", 104.0, 29, singer="wide", comp=0, mode="minor", count_in="one bar", a4_hz=442.0),
        Spec("bossa 132", _F, "bossa", 132.0, 31, singer="soft", sevenths=0.9, comp=24, count_in="two bars"),
        Spec("bossa 120", _F, "bossa", 120.0, 32, lead=71, sevenths=0.8, comp=24, a4_hz=436.0),
        Spec("country 148", _F, "country", 148.0, 33, singer="tenor", comp=25, count_in="sticks", quick=True),
        Spec("march 116", _F, "march", 116.0, 34, lead=57, comp=105, bass=32, count_in="one bar"),
        Spec("waltz 144", _F, "waltz", 144.0, 35, singer="alto", comp=24, rise=True, mix="aac", quick=True),
        Spec("waltz 96.25", _F, "waltz", 96.25, 36, lead=71, comp=0, mode="minor", a4_hz=432.0),
        Spec("three 72", _F, "slow three", 72.0, 37, singer="pulses high", comp=0, bass=43, count_in="one bar"),
        Spec("six 62", _F, "six", 62.0, 38, singer="alto", comp=27, count_in="one bar", quick=True),
        Spec("jig 118", _F, "jig", 118.0, 40, lead=110, comp=25, count_in="sticks"),
        Spec("twelve 60", _F, "twelve", 60.0, 41, singer="soft", comp=0, count_in="one bar", a4_hz=445.0),
        Spec("twelve 54.3", _F, "twelve", 54.3, 42, singer="backed low", seconds=120.0, rise=True, mix="loud"),
        Spec("five 132", _F, "five", 132.0, 43, lead=66, comp=0, mode="minor", count_in="one bar"),
        Spec("five 104 sung", _F, "five", 104.0, 44, singer="wide", comp=4),
        # pick-ups and count-ins gone wrong
        Spec("pick-up 110", _F, "country", 110.0, 45, count_in="pick-up", lead=110, singer="tenor", comp=25),
        Spec("pick-up three 100", _F, "waltz", 100.0, 46, count_in="pick-up", lead=71, comp=0, mode="minor"),
        Spec("other tempo 102", _F, "pop band", 102.0, 47, count_in="other tempo", singer="alto", comp=4),
        Spec("other tempo 90", _F, "acoustic", 90.0, 48, count_in="other tempo", singer="pulses low", comp=25),
        # not steady
        Spec("drift pop 104", _F, "pop band", 104.0, 49, course="drift", singer="alto", comp=29, count_in="one bar"),
        Spec("drift ballad 72", _F, "bare ballad", 72.0, 50, course="drift", singer="soft", comp=0),
        Spec("wander pop 98", _F, "pop band", 98.0, 52, course="wander", singer="tenor", comp=27, quick=True),
        Spec("wander acoustic 88", _F, "acoustic", 88.0, 53, course="wander", singer="alto", comp=25, mix="lo-fi"),
        Spec("wander waltz 120", _F, "waltz", 120.0, 54, course="wander", lead=71, comp=24),
        Spec("wander twelve 58", _F, "twelve", 58.0, 55, course="wander", singer="wide", comp=4, count_in="one bar"),
        Spec("ritardando pop 92", _F, "pop band", 92.0, 56, course="ritardando", singer="alto", comp=4),
        Spec("ritardando ballad 69", _F, "bare ballad", 69.0, 57, course="ritardando", singer="pulses high", comp=0),
        Spec("change pop 100", _F, "pop band", 100.0, 58, course="one change", singer="tenor", comp=16, quick=True),
        Spec("change bossa 116", _F, "bossa", 116.0, 59, course="one change", lead=71, comp=24),
        Spec("dropped beat 106", _F, "pop band", 106.0, 60, course="dropped beat", singer="alto", comp=27),
        Spec("dropped beat 122", _F, "dance", 122.0, 61, course="dropped beat", sound="synth", comp=0, mode="minor"),
        Spec("pause ballad 76", _F, "bare ballad", 76.0, 62, course="pause", singer="soft", comp=24, a4_hz=438.0),
        Spec("pause pop 108", _F, "pop band", 108.0, 63, course="pause", singer="wide", comp=4, count_in="sticks"),
        # melodies of music21's corpus
        Spec("Nottingham reel", "tune", "country", 112.0, 64, tune="nottingham-dataset/reelsa-c:80", lead=110,
             comp=25, count_in="sticks"),
        Spec("Nottingham minor", "tune", "country", 104.0, 65, tune="nottingham-dataset/reelsa-c:81", lead=71,
             comp=105),
        Spec("ragtime", "tune", "country", 92.0, 67, tune="leadSheet/berlinAlexandersRagtime", lead=57,
             comp=0, mix="lo-fi"),
        Spec("parlour song", "tune", "acoustic", 82.0, 68, tune="leadSheet/fosterBrownHair", singer="alto", comp=25,
             a4_hz=439.0),
        Spec("folk song", "tune", "pop band", 108.0, 69, tune="essenFolksong/boehme10:4", singer="tenor", comp=4,
             count_in="sticks", lead=66),
        Spec("folk waltz", "tune", "waltz", 126.0, 83, tune="essenFolksong/irl:5", singer="pulses high", comp=24,
             lead=71, mix="aac", a4_hz=443.0, count_in="two bars"),
        Spec("corpus jig", "tune", "jig", 116.0, 85, tune="ryansMammoth/BossJig", lead=110, comp=25, quick=True),
        Spec("corpus six", "tune", "six", 80.0, 86, tune="essenFolksong/erk5:2", singer="alto", comp=26, lead=71,
             count_in="two bars"),
        Spec("corpus air", "tune", "slow three", 104.0, 87, tune="oneills1850/0101-0200:101", lead=71, comp=0),
        # bench/band.py
        Spec("band rock 150", "band", "rock", 150.0, 70, count_in="one bar"),
        Spec("band house 126", "band", "house", 126.0, 71, mix="loud"),
        Spec("band funk 98.37", "band", "funk", 98.37, 72, count_in="two bars", mix="aac"),
        Spec("band half time 70", "band", "halftime", 70.0, 73),
        Spec("band punk 190", "band", "punk", 190.0, 74, count_in="one bar"),
        # the demo's song by other players
        Spec("demo 58.63", "demo", "", 58.63, 80, singer="alto", a4_hz=441.7, count_in="one bar"),
        Spec("demo 50 mp3", "demo", "", 50.0, 82, singer="wide", a4_hz=437.0, mix="mp3", count_in="two bars"),
    ]  # fmt: skip


SONGS = tuple(_songs())


def chosen(*, quick: bool, only: list[str]) -> list[Spec]:
    """All songs, the quick twelve, or those whose name contains one of `only`."""
    if only:
        return [s for s in SONGS if any(part.lower() in s.name.lower() for part in only)]
    return [s for s in SONGS if s.quick or not quick]
