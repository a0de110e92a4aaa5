import subprocess
import sys

import pytest


@pytest.fixture
def obbligato():
    """Run the command line as a user does, in a process of its own."""

    def run(*arguments, **options):
        command = [sys.executable, "-m", "obbligato", *map(str, arguments)]
        return subprocess.run(command, capture_output=True, text=True, check=False, timeout=300, **options)

    return run
