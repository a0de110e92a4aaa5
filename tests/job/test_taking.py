import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.job.keys import choice_key
from obbligato.job.status import status
from obbligato.job.taking import add_takes, leave_out
from obbligato.sound.audio import Audio
from obbligato.sound.files import write_wav


@pytest.fixture
def three_takes(folder, tmp_path):
    (folder.root / "takes").mkdir()
    for number in (1, 2, 3):
        tone = 0.1 * np.sin(2.0 * np.pi * 200.0 * number * np.arange(4800) / 48000.0)
        write_wav(tmp_path / f"{number}.wav", Audio(tone[None, :].astype(np.float32), 48000), bit_depth=24)
    add_takes(folder, tuple(tmp_path / f"{number}.wav" for number in (1, 2, 3)))
    return folder


def test_a_take_left_out_is_kept_on_disk_and_out_of_the_choice(three_takes):
    folder, before = three_takes, choice_key(three_takes)
    folder.save("choose", "by hand", overrides={1: 3, 2: 1})
    leave_out(folder, (3,))
    assert [take.number for take in folder.job.takes_in_use] == [1, 2]
    assert folder.job.overrides == {2: 1}
    assert folder.path("takes/take_03.wav").is_file()
    taken = next(stage for stage in status(folder).stages if stage.stage == "takes")
    assert taken.sentence == "2 takes are in, and 1 left out."
    leave_out(folder, (3,), use_again=True)
    folder.save("choose", "forgotten", overrides={})
    assert choice_key(folder) == before


def test_a_take_left_out_can_be_added_again_with_another_start(three_takes, tmp_path):
    leave_out(three_takes, (3,))
    (again,) = add_takes(three_takes, (tmp_path / "3.wav",), starts_at_s=2.0)
    assert (again.number, again.starts_at_s) == (4, 2.0)


def test_only_takes_that_exist_can_be_left_out(three_takes):
    with pytest.raises(InputError, match="no take 9"):
        leave_out(three_takes, (1, 9))
    assert three_takes.job.left_out == frozenset()
