import pytest

from obbligato.errors import InputError
from obbligato.music.instruments import find_instrument


@pytest.mark.parametrize(
    "text",
    [
        "flugelhorn",
        "Flugel",
        "Flugelhorn in Bb",
        "bflat flugelhorn",
        "B-flat Flugelhorn",
        "flugelhorn (B♭)",
        "Bb flugel",
    ],
)
def test_one_instrument_by_its_many_names(text):
    assert find_instrument(text).name == "Flugelhorn in Bb"


def test_an_instrument_in_several_keys_is_the_usual_one_unless_said():
    assert find_instrument("trumpet").name == "Trumpet in Bb"
    assert find_instrument("trumpet in c").name == "Trumpet in C"
    assert find_instrument("clarinet").key == "Bb"


@pytest.mark.parametrize(
    ("text", "offered"),
    [
        ("saxophone", "Alto Sax in Eb"),
        ("bass", "Double Bass, Electric Bass"),
        ("trumpt", "Trumpet in Bb"),
        ("trumpet in F", "Trumpet in C"),
        ("zzz", "choose one of"),
        ("", "choose one of"),
    ],
)
def test_what_is_not_known_or_not_clear_is_refused_with_names_that_work(text, offered):
    with pytest.raises(InputError, match=offered):
        find_instrument(text)


def test_written_and_sounding():
    """The handbook example: a Bb instrument's written D5 sounds C5; the baritone sax sounds 21 semitones lower."""
    assert find_instrument("flugelhorn").to_sounding(74) == 72
    assert find_instrument("baritone sax").to_written(48) == 69
