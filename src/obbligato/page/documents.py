"""One-page papers as PDFs: templates of facts, set by Typst with fonts that travel with it.

Values reach a template as data, never as markup, so a title may hold any character. Papers carry no time of
their making: the same data give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from obbligato.errors import InputError

Paper = Literal["a4", "letter"]

DOCUMENTS: Mapping[str, tuple[str, ...]] = {
    "delivery-note": ("title", "import_rule", "facts", "files", "checks"),
    "session-facts": ("title", "groups", "notice"),
    "statement": ("title", "stages", "hours", "rounds_used", "rounds_included", "rounds_beyond", "notice"),
    "take-sheet": ("title", "takes", "phrases"),
}
"""The papers there are, and the data that each cannot do without."""

_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}
_SHEETS_MM: Mapping[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_TEMPLATES = Path(__file__).parent / "templates"
_FONTS = Path(__file__).parent / "fonts"
_FIRST_UNCOVERED = 0x2E80
"""From here on (CJK, emoji) Typst's own fonts hold next to nothing, and the system's are asked to help."""


def document_pdf(name: str, data: Mapping[str, Any], *, paper: Paper = "a4") -> bytes:
    """One paper as a PDF.

    Parameters
    ----------
    name
        One of `DOCUMENTS`.
    data
        Plain JSON values. For all: `title`, and if known `client`, `player`, `instrument`, `date`.

        `delivery-note`: `version`, `import_rule`; `facts` as pairs (label, words); `files`, each with `name`, `role`,
        `format`, `frames`, `peak`, `loudness`, `first_note`, `sha256`; `checks` as sentences.

        `session-facts`: `groups` as pairs (heading, rows), a row a pair (what, words; a blank where there are none);
        `notice`.

        `statement`: `since`, `until`; `stages` as pairs (stage, hours); `hours`; `rounds_used`, `rounds_included`,
        `rounds_beyond`; `fee` (a blank is left where it is empty); `lines` as pairs (what, amount); `notice`.

        `take-sheet`: `takes` (names in order); `phrases`, each with `number`, `bars`, `takes` (pairs `take`,
        `verdict`, in the order of `takes`), `chosen` (the name of a take) and `why`.
    paper
        Sheet to print on.

    Raises
    ------
    InputError
        When there is no such paper, or data that it needs are missing.
    """
    if name not in DOCUMENTS:
        raise InputError(f"There is no paper called '{name}'; choose one of {', '.join(DOCUMENTS)}.")
    missing = [key for key in DOCUMENTS[name] if key not in data]
    if missing:
        raise InputError(f"The paper '{name}' lacks {', '.join(missing)}; give a value for each.")
    return typeset(f"{name}.typ", data, paper=paper)


def sheet_mm(paper: Paper) -> tuple[float, float]:
    """Width and height of an upright sheet of paper in mm.

    Raises
    ------
    InputError
        When there is no such sheet of paper.
    """
    if paper not in _SHEETS_MM:
        raise InputError(f"paper='{paper}': choose a4 or letter.")
    return _SHEETS_MM[paper]


def typeset(template: str, data: Mapping[str, Any], *, paper: Paper) -> bytes:
    """Fill a template of this package with data and return the PDF.

    Raises
    ------
    InputError
        When there is no such sheet of paper.
    """
    import typst

    sheet_mm(paper)
    text = json.dumps(dict(data), ensure_ascii=False)
    return typst.compile(
        _TEMPLATES / template,
        root=_TEMPLATES,
        font_paths=[_FONTS],
        ignore_system_fonts=max(map(ord, text)) < _FIRST_UNCOVERED,
        sys_inputs={"data": text, "paper": _TYPST_PAPER[paper]},
        format="pdf",
    )
