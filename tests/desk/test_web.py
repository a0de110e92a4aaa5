"""The files of the page: its own tests under Node, nothing asked of another host, every link leads to a file."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from obbligato.desk.app import WEB

TESTS = Path(__file__).parent / "web"
NODE = shutil.which("node")
NAMESPACES = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink", "http://www.w3.org/1998/Math/MathML"}
"""Addresses that are names of vocabularies (W3C) and are never fetched."""

needs_node = pytest.mark.skipif(NODE is None, reason="node is not installed")


def files(*kinds):
    return sorted(path for kind in kinds for path in WEB.rglob(f"*.{kind}"))


@needs_node
def test_the_pages_own_tests_pass():
    tests = sorted(str(path) for path in TESTS.glob("*.test.mjs"))
    assert tests
    ran = subprocess.run([NODE, "--test", *tests], capture_output=True, text=True, timeout=120, check=False)
    assert ran.returncode == 0, ran.stdout[-4000:] + ran.stderr[-2000:]


@needs_node
def test_every_module_parses(tmp_path):
    """Each is parsed as a module: `--check` takes a file for one when its name says so."""
    modules = files("js")
    assert len(modules) > 50
    script = "const vm = require('vm'); const fs = require('fs'); for (const file of process.argv.slice(1)) {"
    script += " new vm.SourceTextModule(fs.readFileSync(file, 'utf8'), { identifier: file }); }"
    command = [NODE, "--no-warnings", "--experimental-vm-modules", "-e", script, *map(str, modules)]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]


def test_nothing_is_asked_of_another_host():
    for path in files("js", "css", "html", "svg"):
        text = path.read_text()
        others = set(re.findall(r"\b(?:https?|wss?)://[^\s\"'`)<>]+", text)) - NAMESPACES
        assert not others, f"{path.relative_to(WEB)} names {others}"
        assert not re.search(r"""(?:src|href)=["']//|url\(["']?//""", text), path


def test_everything_linked_or_imported_is_there():
    for path in files("html"):
        for target in re.findall(r"""(?:src|href)="([^"#]+)\"""", path.read_text()):
            assert (path.parent / target).is_file(), f"{path.name} links {target}"
    for path in files("css"):
        for target in re.findall(r"""url\(["']?([^"')]+)""", path.read_text()):
            assert target.startswith("data:") or (path.parent / target).is_file(), f"{path.name} uses {target}"
    for path in files("js"):
        if path.parent.name == "vendor":
            continue
        modules = re.findall(r"""(?:\bfrom|\bimport)\s*\(?\s*"(\.[^"]+)\"""", path.read_text())
        for target in modules:
            assert (path.parent / target).is_file(), f"{path.relative_to(WEB)} imports {target}"
