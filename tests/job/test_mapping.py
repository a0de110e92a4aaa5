import pytest

from obbligato.errors import InputError
from obbligato.job.mapping import parse_clock
from obbligato.job.status import in_a_command


def test_a_clock_time_has_fewer_than_sixty_seconds():
    assert parse_clock("90.5") == 90.5
    assert parse_clock("1:30,5") == 90.5
    with pytest.raises(InputError, match="below 60"):
        parse_clock("9:99")


def test_a_folder_whose_name_begins_with_a_dash_is_not_taken_for_an_option(tmp_path):
    assert in_a_command((tmp_path / "x").relative_to(tmp_path)) == "x"
    assert in_a_command((tmp_path / "-dash it").relative_to(tmp_path)) == "'./-dash it'"
