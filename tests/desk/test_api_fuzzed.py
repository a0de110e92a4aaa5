"""Every address of the API, fuzzed from its own OpenAPI description by schemathesis against a desk that really runs.

Whatever is sent, the answer is one that the description promises: its status, its type, its shape, never a 5xx.
"""

import pytest
from hypothesis import HealthCheck, Phase, given, settings

schemathesis = pytest.importorskip("schemathesis", reason="schemathesis is not installed")

from schemathesis.specs.openapi.checks import positive_data_acceptance  # noqa: E402

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]

CALM = settings(
    max_examples=10,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
    phases=[Phase.explicit, Phase.generate],
)
ENDLESS = "/api/events"
WHAT_NO_SCHEMA_KNOWS = [positive_data_acceptance]
"""That a file has arrived, that there is a line to check: a body of the right form is refused for want of these."""


def fuzz(desk, *, in_a_job):
    """What goes wrong at each address; with `in_a_job` the job of the address is one that is there."""
    headers = {"Authorization": f"Bearer {desk.token}"}
    schema = schemathesis.openapi.from_url(f"http://127.0.0.1:{desk.port}/api/openapi.json", headers=headers)
    wrong, tried = {}, 0
    for found in schema.get_all_operations():
        operation = found.ok()
        if operation.path == ENDLESS or ("{job}" in operation.path) < in_a_job:
            continue

        @CALM
        @given(case=operation.as_strategy())
        def send(case):
            if in_a_job:
                case.path_parameters["job"] = "NightFerry"
            case.call_and_validate(headers=headers, timeout=30, excluded_checks=WHAT_NO_SCHEMA_KNOWS)

        tried += 1
        try:
            send()
        except Exception as error:
            wrong[operation.label] = str(error)
    assert tried > 10
    return wrong


@pytest.mark.parametrize("in_a_job", [False, True])
def test_any_address_answers_as_described(kept_desk, in_a_job):
    wrong = fuzz(kept_desk, in_a_job=in_a_job)
    assert wrong == {}, "\n\n".join(f"== {where}\n{what}" for where, what in wrong.items())


def test_every_address_says_what_else_it_may_answer(kept_desk):
    document = kept_desk.call("GET", "/api/openapi.json")[1]
    assert len(document["paths"]) > 25
    for path, operations in document["paths"].items():
        for operation in operations.values():
            assert {"401", "404", "422"} <= set(operation["responses"]), path
