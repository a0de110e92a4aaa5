"""Papers read back by Poppler's pdftotext and pdfinfo, readers that share nothing with the writer."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from obbligato.errors import InputError
from obbligato.page.documents import document_pdf

needs_poppler = pytest.mark.skipif(
    not (shutil.which("pdftotext") and shutil.which("pdfinfo")), reason="Poppler's pdftotext and pdfinfo are not here"
)
AWKWARD = 'Night #Ferry $x_2$ [a] \\n "q" *b* _c_ @d <e> `f` // -- ~ é Ω'

NOTE: dict[str, Any] = {
    "title": "Night Ferry",
    "client": "Ada",
    "player": "Jo",
    "instrument": "Flugelhorn in Bb",
    "version": 2,
    "date": "2026-11-25",
    "import_rule": "Put every file at the very start of your session.",
    "facts": [["Tempo", "58.00 dotted quarters a minute"], ["Key", "Eb major"]],
    "files": [
        {
            "name": "NightFerry_v2_48k24.wav",
            "role": "the comp, dry",
            "format": "48000 Hz · 24 bit · mono",
            "frames": 9216000,
            "peak": "-6.1 dBTP",
            "loudness": "-22.3 LUFS",
            "first_note": "0:21.034, bar 5 beat 1.0",
            "sha256": "0123456789abcdef",
        }
    ],
    "checks": ["Every file is as long as the guide, to the frame."],
}
STATEMENT: dict[str, Any] = {
    "title": "Night Ferry",
    "client": "Ada",
    "player": "Jo",
    "instrument": "Cello",
    "date": "2026-11-25",
    "since": "2026-11-01",
    "until": "2026-11-24",
    "stages": [["map", "0.50"], ["takes", "1.75"]],
    "hours": "2.25",
    "rounds_used": 3,
    "rounds_included": 2,
    "rounds_beyond": 1,
    "fee": "250.00 EUR",
    "notice": "General information only.",
}
TAKES: dict[str, Any] = {
    "title": "Night Ferry",
    "player": "Jo",
    "instrument": "Cello",
    "date": "2026-11-25",
    "takes": ["take1", "take2"],
    "phrases": [
        {
            "number": number,
            "bars": f"bars {4 * number}-{4 * number + 3}",
            "takes": [{"take": "take1", "verdict": "clean"}, {"take": "take2", "verdict": "late by 62 ms"}],
            "chosen": "take1",
            "why": "take 2 is late",
        }
        for number in range(1, 9)
    ],
}
ALL = [("delivery-note", NOTE), ("statement", STATEMENT), ("take-sheet", TAKES)]


def poppler(tool: str, pdf: bytes, folder: Path, *options: str) -> str:
    path = folder / "paper.pdf"
    path.write_bytes(pdf)
    output = ["-"] if tool == "pdftotext" else []
    return subprocess.run([tool, *options, path, *output], check=True, capture_output=True, text=True).stdout


@needs_poppler
@pytest.mark.parametrize(("name", "data"), ALL)
@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_one_side_each_on_both_papers(name: str, data: dict[str, Any], paper: Any, size: Any, tmp_path: Path) -> None:
    # ISO 216 A4 is 210 x 297 mm, ANSI letter 8.5 x 11 in; a PDF point is 1/72 in.
    info = poppler("pdfinfo", document_pdf(name, data, paper=paper), tmp_path)
    assert re.search(r"Pages: +1\n", info)
    found = re.search(r"Page size: +([\d.]+) x ([\d.]+) pts", info)
    assert found
    assert [float(x) for x in found.groups()] == pytest.approx(size, abs=0.5)


@needs_poppler
def test_the_note_holds_every_fact(tmp_path: Path) -> None:
    text = " ".join(poppler("pdftotext", document_pdf("delivery-note", NOTE), tmp_path).split())
    for part in (
        *NOTE["files"][0].values(),
        *NOTE["checks"],
        *NOTE["facts"][0],
        NOTE["import_rule"],
        "from Jo to Ada",
    ):
        assert str(part) in text


@needs_poppler
def test_the_statement_leaves_blanks_where_nothing_was_agreed(tmp_path: Path) -> None:
    text = poppler("pdftotext", document_pdf("statement", STATEMENT), tmp_path, "-layout")
    assert "250.00 EUR" in text
    assert "3 rounds used; 2 included in the fee. 1 round beyond" in " ".join(text.split())
    blank = poppler("pdftotext", document_pdf("statement", {**STATEMENT, "fee": ""}), tmp_path, "-layout")
    assert not re.search(r"\d+\.\d\d", blank.split("Amounts")[1])


@needs_poppler
def test_the_take_sheet_marks_what_was_chosen(tmp_path: Path) -> None:
    text = poppler("pdftotext", document_pdf("take-sheet", TAKES), tmp_path, "-layout")
    assert text.count("● clean") == 8
    assert "● late" not in text


@needs_poppler
@pytest.mark.parametrize(("name", "data"), ALL)
def test_any_title_arrives_as_it_is(name: str, data: dict[str, Any], tmp_path: Path) -> None:
    text = poppler("pdftotext", document_pdf(name, {**data, "title": AWKWARD}), tmp_path)
    assert AWKWARD in " ".join(text.split())


def test_an_emoji_or_another_script_does_not_stop_a_paper() -> None:
    assert document_pdf("statement", {**STATEMENT, "title": "夜船 🎺"}).startswith(b"%PDF")


@needs_poppler
def test_a_long_note_flows_on(tmp_path: Path) -> None:
    data = {**NOTE, "files": NOTE["files"] * 12}
    assert re.search(r"Pages: +2\n", poppler("pdfinfo", document_pdf("delivery-note", data), tmp_path))


def test_same_data_same_bytes() -> None:
    assert document_pdf("delivery-note", NOTE) == document_pdf("delivery-note", NOTE)


def test_bad_asks_are_refused() -> None:
    with pytest.raises(InputError, match="no paper called 'invoice'"):
        document_pdf("invoice", NOTE)
    with pytest.raises(InputError, match="lacks rounds_used, notice"):
        document_pdf("statement", {k: v for k, v in STATEMENT.items() if k not in ("rounds_used", "notice")})
    with pytest.raises(InputError, match="choose a4 or letter"):
        document_pdf("statement", STATEMENT, paper="a3")  # type: ignore[arg-type]


@needs_poppler
def test_session_facts_leave_blanks_where_nothing_is_known(tmp_path):
    groups = [["The performer", [["Name as credited", AWKWARD], ["Legal name", ""]]]]
    pdf = document_pdf("session-facts", {"title": "Night Ferry", "groups": groups, "notice": "General information."})
    (tmp_path / "a.pdf").write_bytes(pdf)
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "a.pdf", "-"], capture_output=True, text=True, check=True
    )
    assert AWKWARD in text.stdout and "Legal name" in text.stdout and "None" not in text.stdout
