import json
from datetime import UTC, datetime

import pytest

from obbligato.errors import InputError
from obbligato.job.brief import change_brief, deadline_of, make_brief
from obbligato.job.model import Brief
from obbligato.job.risks import QUESTIONS, unanswered
from obbligato.job.store import JOB_FILE, JobFolder

ANSWERED = Brief(
    title="Night Ferry",
    wishes="warm, in the gaps",
    writer="player",
    lines=1,
    layers=2,
    references="none given",
    avoid="the last chorus",
    purpose="final",
    stated_bpm=96.0,
    stated_key="Bb",
    stated_meter="4/4",
    sample_rate=48000,
    bit_depth=24,
    vocal_stem="no",
    deadline="2026-12-01",
    time_zone="Europe/Paris",
    approver="Ida",
    usage="album",
    credit="by name",
)


def at(text):
    return datetime.fromisoformat(text)


def test_every_question_is_open_in_a_bare_brief_and_none_in_a_full_one():
    """Twelve questions: common practice, no source."""
    assert unanswered(Brief(title="x")) == QUESTIONS
    assert len(QUESTIONS) == 12
    assert unanswered(ANSWERED) == ()


@pytest.mark.parametrize("field", [field for question in QUESTIONS for field in question.fields])
def test_each_missing_answer_opens_its_own_question(field):
    empty = Brief.model_fields[field].default
    missing = unanswered(ANSWERED.model_copy(update={field: empty}))
    assert [question for question in QUESTIONS if field in question.fields] == list(missing)


def test_the_singers_track_in_the_job_answers_its_question():
    brief = ANSWERED.model_copy(update={"vocal_stem": ""})
    assert unanswered(brief, has_vocal=True) == ()
    assert len(unanswered(brief)) == 1


def test_a_job_from_before_the_questions_opens(folder):
    path = folder.path(JOB_FILE)
    document = json.loads(path.read_text())
    document["brief"] = {"title": "Night Ferry", "deadline": "Friday", "rounds_included": 2}
    path.write_text(json.dumps(document))
    brief = JobFolder.open(folder.root).job.brief
    assert (brief.title, brief.deadline, brief.writer, brief.layers) == ("Night Ferry", "Friday", "", None)


@pytest.mark.parametrize(
    ("deadline", "moment", "words", "is_over"),
    [
        ("2026-12-01", "2026-11-25T09:00+00:00", "in 6 days", False),
        ("2026-12-01", "2026-11-30T23:59+00:00", "tomorrow", False),
        ("2026-12-01", "2026-12-01T23:59+00:00", "today", False),
        ("2026-12-01", "2026-12-02T00:01+00:00", "overdue by a day", True),
        ("2026-12-01", "2026-12-04T00:01+00:00", "overdue by 3 days", True),
        ("20261201", "2026-11-25T09:00+00:00", "in 6 days", False),
        ("2026-12-01T18:00", "2026-12-01T17:59+00:00", "today at 18:00", False),
        ("2026-12-01T18:00", "2026-12-01T18:01+00:00", "overdue since 18:00 today", True),
        ("2026-12-01T18:00+09:00", "2026-12-01T10:00+00:00", "overdue since 18:00 today", True),
        # 23:30 in UTC is the next day already in Tokyo, nine hours ahead all year (tz database).
        ("2026-12-02", "2026-12-01T23:30+00:00", "tomorrow", False),
    ],
)
def test_a_deadline_in_words(deadline, moment, words, is_over):
    """ISO 8601 dates and moments; days counted on the calendar, from midnight to midnight."""
    due = deadline_of(Brief(title="x", deadline=deadline), moment=at(moment))
    assert (due.words, due.is_over) == (words, is_over)


def test_the_clients_zone_decides_which_day_it_is():
    """Half past eleven at night in UTC is the next morning in Tokyo, nine hours ahead all year (tz database)."""
    moment = datetime(2026, 12, 1, 23, 30, tzinfo=UTC)
    due = deadline_of(Brief(title="x", deadline="2026-12-01", time_zone="Asia/Tokyo"), moment=moment)
    assert (due.days_left, due.is_over) == (-1, True)


@pytest.mark.parametrize("text", ["", "Friday", "01/12/2026", "next week", "2026-13-40"])
def test_a_deadline_in_other_words_is_no_date(text):
    assert deadline_of(Brief(title="x", deadline=text), moment=at("2026-11-25T09:00+00:00")) is None


@pytest.mark.parametrize("zone", ["nowhere", "../etc/passwd", "my time", "/etc", "a" * 500, "a\0b"])
def test_a_zone_in_other_words_counts_as_the_players_own(zone):
    moment = at("2026-11-30T12:00+00:00")
    assert deadline_of(Brief(title="x", deadline="2026-12-01", time_zone=zone), moment=moment).days_left == 1


def test_a_changed_answer_is_saved_and_told_in_the_history(folder):
    change_brief(folder, approver="Ida", layers=2)
    brief = JobFolder.open(folder.root).job.brief
    assert (brief.approver, brief.layers, brief.title) == ("Ida", 2, "Night Ferry")
    assert folder.history()[-1].what == "brief changed: approver, layers"
    change_brief(folder, approver="Ida")
    assert len(folder.history()) == 1


@pytest.mark.parametrize("changes", [{"layers": 0}, {"titel": "x"}, {"title": "  "}, {"writer": "the cat"}])
def test_what_a_brief_cannot_hold_is_refused_and_nothing_saved(folder, changes):
    before = folder.path(JOB_FILE).read_bytes()
    with pytest.raises(InputError):
        change_brief(folder, **changes)
    assert folder.path(JOB_FILE).read_bytes() == before


@pytest.mark.parametrize("fee", [float("inf"), float("nan"), -1.0])
def test_a_fee_is_a_number_one_can_pay(fee):
    with pytest.raises(InputError, match="fee"):
        make_brief(title="x", fee=fee)
