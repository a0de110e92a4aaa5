"""The one way to the engraving library, for callers in any thread.

Verovio keeps where its fonts lie for each thread by itself, and tells it only to the thread that imported it; what it
shares between threads it does not guard, so one caller at a time is let in.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from obbligato.errors import InputError

_ONE_AT_A_TIME = threading.Lock()


def drawings(musicxml: str, options: Mapping[str, Any], *, refusal: str) -> tuple[str, ...]:
    """The pages of a document as SVG, engraved by Verovio with its `options`.

    Raises
    ------
    InputError
        With the text of `refusal`, when the document cannot be read as music.
    """
    import verovio

    with _ONE_AT_A_TIME:
        verovio.enableLog(verovio.LOG_OFF)
        verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
        toolkit = verovio.toolkit()
        toolkit.setOptions(dict(options))
        if not toolkit.loadData(musicxml) or not toolkit.getPageCount():
            raise InputError(refusal)
        return tuple(toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1))
