"""The terminal: errors as one sentence with the right exit status, progress on stderr, JSON alone on stdout."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import typer
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bars

from obbligato.errors import InputError, NotRightError
from obbligato.progress import Progress

EXIT_NOT_RIGHT = 1
EXIT_BAD_INPUT = 2

out = Console(highlight=False)
err = Console(stderr=True, highlight=False)


def run(app: typer.Typer) -> int:
    """Run the program on the process's arguments and return its exit status."""
    try:
        result = app(standalone_mode=False)
        return result if isinstance(result, int) else 0
    except NotRightError as error:
        return _refuse(str(error), EXIT_NOT_RIGHT)
    except InputError as error:
        return _refuse(str(error), EXIT_BAD_INPUT)
    except KeyboardInterrupt:
        return _refuse("Stopped; what was finished before is kept.", 130)
    except OSError as error:
        return _refuse(_file_trouble(error), EXIT_BAD_INPUT)
    except Exception as error:
        # Usage errors carry their own sentence; anything else is a fault of this program and must be seen whole.
        message = getattr(error, "format_message", None)
        if message is None:
            raise
        text = message()
        is_help = "\n" in text
        return _refuse(text if is_help else f"{text.rstrip('.')}; see --help.", EXIT_BAD_INPUT)


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """A bar on stderr while the block runs, with words on what is being done; none where nobody watches."""
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"))
    with Bars(*columns, TimeElapsedColumn(), console=err, transient=True, disable=not err.is_terminal) as bars:
        task = bars.add_task("", total=1.0)

        def report(fraction: float, message: str) -> None:
            bars.update(task, completed=fraction, description=message)

        yield report


def print_json(document: Any) -> None:
    """One JSON document on stdout, and nothing else there."""
    sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n")


def say(*sentences: str) -> None:
    """Sentences for the player, each on its own line."""
    for sentence in sentences:
        out.print(sentence, markup=False, soft_wrap=True)


def choose_output(as_json: bool, document: Callable[[], Any], show: Callable[[], None]) -> None:
    """Either the JSON document or the text for people."""
    if as_json:
        print_json(document())
    else:
        show()


def _refuse(sentence: str, status: int) -> int:
    err.print(sentence, markup=False, soft_wrap=True)
    return status


def _file_trouble(error: OSError) -> str:
    place = f"'{error.filename}'" if error.filename else "a file"
    reason = (error.strerror or str(error) or type(error).__name__).lower()
    return f"The system would not let {place} be read or written ({reason}); nothing was changed."
