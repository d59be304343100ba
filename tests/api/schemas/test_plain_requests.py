"""What is read at a glance is what the schema loads; the rest is left to it."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories
from marshmallow import ValidationError

from api.schemas.fault_kinds import NEEDS
from api.schemas.faults import RecallRequestSchema
from api.schemas.plain_requests import plain_request

STORY = Path(__file__).parents[3] / "fixtures" / "demo_lab" / "story.json"
FAULT = {
    "item": "REF-1",
    "kind": "true_force_relative_error",
    "delta_rel": "-0.0007",
    "last_good_at": "2024-09-16T10:00:00-07:00",
    "isolated_at": "2025-09-11",
}
texts = st.sampled_from(
    [
        *(
            "REF-1",
            "",
            " ",
            "a\nb",
            "x" * 41,
            "0.1",
            "-0.5",
            "-1",
            "1",
            "0",
            "1e5",
            "+1",
            "١",
            "-2",
        ),
        *(
            "-2",
            "1.",
            ".5",
            "2025-01-01",
            "2025-13-01",
            "2025-01-01T00:00:00",
            "2025-01-01T00:00:00Z",
        ),
        *NEEDS,
    ]
)
values = texts | st.none() | st.booleans() | st.integers(-2, 2) | st.decimals(-2, 2, places=4)
NAMES = sorted(RecallRequestSchema().fields["fault"].schema.fields)


def schema(sent: dict[str, Any]) -> Any:
    try:
        return RecallRequestSchema().load(sent)
    except ValidationError:
        return None


@settings(max_examples=400, deadline=None)
@given(
    kind=st.sampled_from(sorted(NEEDS)),
    changed=st.dictionaries(st.sampled_from(NAMES), values, max_size=8),
    dropped=st.sets(st.sampled_from(NAMES), max_size=2),
)
def test_whatever_is_plain_loads_to_what_the_schema_makes_of_it(kind, changed, dropped):
    fault = {
        name: v for name, v in (FAULT | {"kind": kind} | changed).items() if name not in dropped
    }
    for sent in ({"fault": fault}, {"faults": [FAULT, fault]}):
        read = plain_request(sent)
        assert read is None or read == schema(sent)


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_faults_of_random_laboratories_are_read_alike(data):
    sent = {"fault": data.draw(faults_for(data.draw(laboratories())))}
    assert plain_request(sent) in (None, schema(sent))


@pytest.mark.parametrize(
    "fault",
    [
        FAULT,
        FAULT | {"delta_rel": Decimal("0.0010"), "U_delta_rel": "0.0002", "meaning": "a balance"},
        json.loads(STORY.read_text("utf-8"))["fault"],
    ],
)
def test_the_usual_fault_is_plain(fault):
    sent = {"fault": fault}
    assert plain_request(sent) == schema(sent) is not None


@pytest.mark.parametrize(
    "sent",
    [{}, {"fault": []}, {"faults": []}, {"faults": FAULT}, {"fault": FAULT, "preview": True}],
)
def test_another_form_of_request_is_left_to_the_schema(sent):
    assert plain_request(sent) is None
