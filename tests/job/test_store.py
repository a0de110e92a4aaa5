import json
import os
import time

import pytest

from obbligato.errors import InputError
from obbligato.job.store import HISTORY_FILE, JOB_FILE, JobFolder, fingerprint


def test_a_saved_job_reads_back_and_its_history_says_why(folder):
    folder.save("choose", "take 2 for phrase 4", overrides={4: 2})
    again = JobFolder.open(folder.root)
    assert again.job.overrides == {4: 2}
    assert again.job == folder.job
    assert [event.what for event in again.history()] == ["take 2 for phrase 4"]


def test_two_writers_cannot_undo_each_other(folder):
    other = JobFolder.open(folder.root)
    folder.save("choose", "first", overrides={1: 1})
    with pytest.raises(InputError, match="Another command"):
        other.save("choose", "second", overrides={2: 2})
    assert JobFolder.open(folder.root).job.overrides == {1: 1}


def test_two_writers_of_different_things_keep_both(folder):
    other = JobFolder.open(folder.root)
    folder.save("check", "checked", made=folder.made("check", "", from_key="a"), overrides={1: 1})
    other.save("mockup", "mock-up", made=other.made("mockup", "approval/mockup_v1", from_key="b"))
    job = JobFolder.open(folder.root).job
    assert [made.stage for made in job.made] == ["check", "mockup"]
    assert job.overrides == {1: 1}


def test_a_failed_folder_leaves_nothing(folder):
    with pytest.raises(RuntimeError), folder.new_folder("delivery", "delivery_01") as (building, _):
        (building / "half.wav").write_bytes(b"half")
        raise RuntimeError
    assert list(folder.path("delivery").iterdir()) == []


def test_nothing_is_overwritten(folder):
    for _ in range(2):
        with folder.new_folder("part", "v1") as (building, _):
            (building / "part.pdf").write_bytes(b"%PDF")
    assert sorted(path.name for path in folder.path("part").iterdir()) == ["v1", "v1-2"]
    folder.add_file("takes/take_01.wav", b"one")
    with pytest.raises(InputError, match="never overwritten"):
        folder.add_file("takes/take_01.wav", b"two")
    assert folder.path("takes/take_01.wav").read_bytes() == b"one"


def test_a_write_protected_job_is_refused_whoever_asks(folder):
    folder.root.chmod(0o555)
    try:
        with pytest.raises(InputError, match="write-protected"):
            folder.save("map", "anything")
    finally:
        folder.root.chmod(0o755)


def test_a_history_cut_short_by_a_crash_is_still_read(folder):
    folder.note("map", "listened")
    with (folder.root / HISTORY_FILE).open("a") as file:
        file.write('{"at": "2026-03-02T10:')
    assert [event.what for event in folder.history()] == ["listened"]
    folder.note("line", "a new version")
    assert [event.what for event in folder.history()] == ["listened", "a new version"]


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"schema_version": 2}'])
def test_a_damaged_job_file_is_named(folder, damage):
    (folder.root / JOB_FILE).write_text(damage)
    with pytest.raises(InputError, match="cannot be read as a job"):
        JobFolder.open(folder.root)


def test_a_misspelt_key_is_not_lost_in_silence(folder):
    raw = json.loads((folder.root / JOB_FILE).read_text())
    (folder.root / JOB_FILE).write_text(json.dumps({**raw, "overides": {}}))
    with pytest.raises(InputError, match="overides"):
        JobFolder.open(folder.root)


def test_fingerprints_tell_apart_what_joins_alike():
    assert fingerprint("ab", "c") != fingerprint("a", "bc")


def test_two_commands_that_make_the_same_folder_are_told_apart(folder):
    with folder.new_folder("comp", "comp_01") as (first, _):
        (first / "comp.wav").write_bytes(b"first")
        with pytest.raises(InputError, match="at work on this job"), folder.new_folder("comp", "comp_01"):
            folder.path("comp/comp_01").mkdir()
            (folder.path("comp/comp_01") / "comp.wav").write_bytes(b"the other's")
        (folder.path("comp/comp_01") / "comp.wav").unlink()
        folder.path("comp/comp_01").rmdir()
    assert [path.name for path in folder.path("comp").iterdir()] == ["comp_01"]


def test_what_a_command_left_when_it_was_cut_off_is_removed_in_time(folder):
    at_work, abandoned = folder.path("delivery/.unfinished-a"), folder.path("delivery/.unfinished-b")
    for left in (at_work, abandoned):
        left.mkdir(parents=True)
        (left / "half.wav").write_bytes(b"half")
    two_days_ago = time.time() - 2 * 24 * 3600
    os.utime(abandoned, (two_days_ago, two_days_ago))
    with folder.new_folder("delivery", "delivery_01"):
        assert at_work.exists()
        assert not abandoned.exists()
