"""Lines as MIDI files: reading a performance, placing it on the song's grid, writing a line with its tempo map."""

from obbligato.music.midi_writing import midi_bytes, write_midi
from obbligato.music.performance import Performance, PlayedNote, read_midi
from obbligato.music.placing import Placed, place

__all__ = ["Performance", "Placed", "PlayedNote", "midi_bytes", "place", "read_midi", "write_midi"]
