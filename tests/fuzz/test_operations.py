"""Every operation, with what its own document says may be sent, and with right requests bent.

No answer is a 5xx, each is documented and matches its schema. A bounded number here; the long run
is `python -m tests.fuzz`.
"""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from tests.fuzz.bending import bent
from tests.fuzz.corpus import requests
from tests.fuzz.server import CHECKS, Trial

EXAMPLES = int(os.environ.get("TRACEHOLD_FUZZ_EXAMPLES", "4"))
SEED = int(os.environ.get("TRACEHOLD_FUZZ_SEED", "1"))
BOUNDED = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
# Its own key would be revoked, or rotated away.
LEFT_OUT = ("DELETE /v1/keys/", "POST /v1/keys/")
pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore")]


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """One application for all: what an earlier request stored, a later one meets."""
    made = Trial(tmp_path_factory.mktemp("fuzz"))
    yield made
    made.database.dispose()


def test_every_operation_answers_what_it_documents_whatever_is_sent(trial):
    tried = 0
    for found in trial.schema.get_all_operations():
        operation = found.ok()
        if operation.label.startswith(LEFT_OUT):
            continue

        @seed(SEED)
        @BOUNDED
        @given(case=operation.as_strategy())
        def send(case):
            answer = case.call(headers=trial.headers)
            trial.count(answer.status_code)
            case.validate_response(answer, checks=CHECKS)

        send()
        tried += 1
    assert tried > 100


@pytest.mark.parametrize(
    ("method", "path", "body"),
    requests(),
    ids=[f"{n}-{path.split('?')[0]}" for n, (_, path, _) in enumerate(requests())],
)
def test_a_right_request_that_is_bent_is_answered_or_refused_by_name(trial, method, path, body):
    @seed(SEED)
    @settings(BOUNDED, max_examples=4 * EXAMPLES)
    @given(data=st.data())
    def send(data):
        trial.send(method, path, data.draw(bent(body)))

    send()


def test_the_requests_that_are_bent_were_right(tmp_path):
    fresh = Trial(tmp_path)
    statuses = {
        (method, path): fresh.send(method, path, body).status_code
        for method, path, body in requests()
    }
    assert {key for key, status in statuses.items() if status >= 400} == set()
    fresh.database.dispose()


def test_operations_that_follow_from_each_other_hold_together(trial):
    """What one answer names (an id, a Location) the next request asks for."""
    machine = trial.schema.as_state_machine()

    class Linked(machine):
        def setup(self):
            # What is drawn depends on the answers: each sequence must meet the same store.
            trial.begin_anew()

        def get_call_kwargs(self, case):
            return {"headers": trial.headers}

        def validate_response(self, response, case, **kwargs):
            trial.count(response.status_code)
            case.validate_response(response, checks=CHECKS)

        def before_call(self, case):
            # Its own key would be revoked.
            if case.operation.label.startswith(LEFT_OUT):
                case.path_parameters["key_id"] = "nobody"

    bounded = settings(BOUNDED, max_examples=4 * EXAMPLES, stateful_step_count=12)
    seed(SEED)(Linked).run(settings=bounded)
    assert trial.answers
