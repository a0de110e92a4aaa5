"""The invented players of the benchmarks, shared with the tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

PLAYERS = Path(__file__).parents[2] / "bench" / "players.py"


@pytest.fixture(scope="session")
def players() -> ModuleType:
    spec = importlib.util.spec_from_file_location("obbligato_bench_players", PLAYERS)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
