from datetime import UTC, datetime, timedelta

import pytest

from obbligato.job.account import Account, StageTime, minutes_by_stage
from obbligato.job.model import Event

START = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


def event(minute, stage, minutes=None):
    return Event(at=START + timedelta(minutes=minute), stage=stage, what="", minutes=minutes)


def totals(*events):
    return {time.stage: time.minutes for time in minutes_by_stage(events)}


def test_time_runs_from_event_to_event():
    assert totals(event(0, "new"), event(12, "map"), event(32, "line")) == {"new": 5, "map": 12, "line": 20}


def test_a_night_between_two_events_is_not_work():
    assert totals(event(0, "new"), event(600, "map")) == {"new": 5, "map": 5}


def test_minutes_entered_by_hand_count_as_entered_and_shift_nothing():
    assert totals(event(0, "new"), event(5, "takes", minutes=90), event(10, "map")) == pytest.approx(
        {"new": 5, "takes": 90, "map": 10}
    )


@pytest.mark.parametrize(("minutes", "expected"), [(59.0, None), (60.0, 180.0), (240.0, 45.0)])
def test_the_fee_of_an_hour_is_told_once_there_is_an_hour(minutes, expected):
    stages = (StageTime("takes", minutes),)
    result = Account(stages, 0, 2, 180.0, "EUR", since=START, until=START)
    assert result.fee_per_hour == (None if expected is None else pytest.approx(expected))
