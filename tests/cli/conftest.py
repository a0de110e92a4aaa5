import contextlib
import io
import sys
from dataclasses import dataclass
from unittest import mock

import pytest

from obbligato.cli import app
from obbligato.cli.terminal import run


@dataclass(frozen=True)
class Outcome:
    """What a command left behind."""

    returncode: int
    stdout: str
    stderr: str


@pytest.fixture
def obbligato():
    """Run a command line; an exception that would end as a traceback fails the test."""

    def call(*arguments):
        stdout, stderr = io.StringIO(), io.StringIO()
        argv = mock.patch.object(sys, "argv", ["obbligato", *map(str, arguments)])
        with argv, contextlib.redirect_stdout(stdout), contextlib.redirect_stderr(stderr):
            status = run(app)
        return Outcome(status, stdout.getvalue(), stderr.getvalue())

    return call
