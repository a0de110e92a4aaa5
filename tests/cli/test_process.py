"""The command line as a process of its own."""

import subprocess
import sys


def obbligato(*arguments):
    command = [sys.executable, "-m", "obbligato", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


def test_a_refusal_is_one_sentence_and_status_2(tmp_path):
    result = obbligato("status", str(tmp_path / "nowhere"))
    assert result.returncode == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1


def test_the_version_is_status_0():
    result = obbligato("--version")
    assert (result.returncode, result.stderr) == (0, "")
    assert result.stdout.count(".") == 2


def test_the_commands_are_listed_in_the_order_of_a_job():
    text = obbligato("--help").stdout
    names = [
        "new",
        "map",
        "line",
        "check",
        "mockup",
        "review",
        "reply",
        "part",
        "click",
        "takes",
        "choose",
        "deliver",
    ]
    places = [text.index(f"\n  {name} ") for name in names]
    assert places == sorted(places)
