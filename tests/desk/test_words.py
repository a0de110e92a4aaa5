"""The page never tells a player to type a command: the refusals of a job are read as the page says them."""

import ast
from pathlib import Path

import pytest

import obbligato
from obbligato.desk.words import page_words
from obbligato.errors import NoBeatError

SOURCES = Path(obbligato.__file__).parent
REFUSALS = {"InputError", "NotRightError", "StageStatus"}


def written(node):
    """The text of a string or of a template, `N` standing for what is filled in."""
    if isinstance(node, ast.JoinedStr):
        return "".join(written(part) for part in node.values)
    if isinstance(node, ast.FormattedValue):
        return "N"
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


def refusals():
    """The sentences with which `job` and `play` refuse something, and those on where a stage stands."""
    for path in sorted([*(SOURCES / "job").glob("*.py"), *(SOURCES / "play").glob("*.py")]):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in REFUSALS:
                sentence = max((written(argument) for argument in node.args[:3]), key=len, default="")
                if sentence:
                    yield sentence


def test_no_refusal_names_a_command_or_an_option():
    sentences = [*refusals(), str(NoBeatError("the guide is silent"))]
    commands = [sentence for sentence in sentences if "obbligato " in sentence or " --" in f" {sentence}"]
    assert len(commands) >= 7
    for sentence in sentences:
        said = page_words(sentence)
        assert "obbligato " not in said and " --" not in f" {said}", said
        assert said[-1] in ".!?" or said == sentence, said


@pytest.mark.parametrize(
    ("terminal", "page"),
    [
        ("Take 3 ('c.wav'): it is silent. To go on without it: obbligato takes JOB leave-out 3",
         "Take 3 ('c.wav'): it is silent. To go on without it, leave it out under Takes."),
        ("The mock-up is in approval/mockup_v1.", "The mock-up is made."),
        ("Bars 3 to 5 are missing; play them.", "Bars 3 to 5 are missing; play them."),
        ("Set it to 48000 Hz, or choose another one: obbligato record JOB --devices",
         "Set it to 48000 Hz, or choose another one from the list."),
        ("It may be wrong by milliseconds; measure it once with: obbligato record JOB --calibrate",
         "It may be wrong by milliseconds; measure it once under Ready."),
        ("The song is in A major.", "The song is in A major."),
        ("Something is wrong; put it right with: obbligato somehow JOB 1", "Something is wrong."),
    ],
)  # fmt: skip
def test_sentences_in_the_pages_words(terminal, page):
    assert page_words(terminal) == page
