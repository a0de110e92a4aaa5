"""The command line over `job`; no arithmetic on samples happens here."""

from __future__ import annotations

import sys

from obbligato.cli import (
    after_playing,
    before_playing,
    delivering,
    levels,
    line_editing,
    mending,
    page,
    recording,
    start,
    without_a_job,
)
from obbligato.cli.app import app, in_order_of_a_job
from obbligato.cli.terminal import run

__all__ = [
    "after_playing",
    "app",
    "before_playing",
    "delivering",
    "levels",
    "line_editing",
    "main",
    "mending",
    "page",
    "recording",
    "start",
    "without_a_job",
]

in_order_of_a_job(app)


def main() -> None:
    """Run the command line on the process's arguments."""
    sys.exit(run(app))
