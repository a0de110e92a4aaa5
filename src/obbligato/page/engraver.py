"""The one way to the engraving library, a caller at a time: it keeps state that two threads must not share."""

from __future__ import annotations

import threading
from collections.abc import Mapping
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
        toolkit = verovio.toolkit()
        toolkit.setOptions(dict(options))
        if not toolkit.loadData(musicxml) or not toolkit.getPageCount():
            raise InputError(refusal)
        return tuple(toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1))
