"""Files that appear whole or not at all."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from obbligato.errors import InputError
from obbligato.sound.atomic import write_bytes_at_once


def test_threads_that_write_the_same_file_at_once_do_not_take_it_from_each_other(tmp_path):
    path = tmp_path / "chart.json"
    contents = [bytes([number]) * 200_000 for number in range(64)]
    with ThreadPoolExecutor(16) as threads:
        list(threads.map(lambda content: write_bytes_at_once(path, content, overwrite=True), contents))
    assert path.read_bytes() in contents
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_is_there_stays_unless_it_may_be_written_over(tmp_path):
    path = tmp_path / "part.pdf"
    path.write_bytes(b"old")
    with pytest.raises(InputError, match="exists already"):
        write_bytes_at_once(path, b"new")
    assert path.read_bytes() == b"old"
