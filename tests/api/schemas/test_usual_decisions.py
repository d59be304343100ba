"""The quick reading of usual requests: the schema's answer or none."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from api.schemas.decisions import NewDecisionSchema
from api.schemas.usual_decisions import usual_request

SCHEMA = NewDecisionSchema()
USUAL = {
    "value": "10.8",
    "U": Decimal("0.20"),
    "k": 2,
    "dof": "5",
    "unit": "kN",
    "limits": {"upper": "11", "lower": None},
    "rule": "guard_U",
    "prior": {"sd": "1", "mean": "10"},
    "results": "results 1 to 5",
    "specification": "drawing 7",
    "store": False,
}
numbers = st.sampled_from(
    ["10.8", "-0.5", "0", "1E+3", " 1", "", "x", "1" * 61, 3, -1, True, None, Decimal("1.50"), 2.5]
)
limits = st.dictionaries(
    st.sampled_from(["lower", "upper", "middle"]), numbers | st.just({"value": "1", "unit": "N"})
)
texts = st.sampled_from(["kN", "", " ", "a\nb", "\x00", "x" * 21, "x" * 2001, "µm", "\u200b", 7])
rules = st.sampled_from(
    [
        "simple",
        "",
        {"id": "simple", "version": 1},
        {"id": "simple", "version": 0},
        {"guard": {"basis": "U", "factor": "0.83"}, "zones": 2},
        {"guard": {"basis": "U", "factor": "x"}},
        7,
    ]
)
parts = {
    "value": numbers,
    "U": numbers | st.just({"value": "1", "unit": "N"}),
    "U_rel_pct": numbers,
    "k": numbers,
    "dof": numbers,
    "unit": texts,
    "limits": limits | numbers,
    "nominal": numbers,
    "tolerance": numbers | limits,
    "rule": rules,
    "prior": st.dictionaries(st.sampled_from(["mean", "sd", "reliability"]), numbers),
    "results": texts,
    "store": st.sampled_from([True, False, 1, 0, "true", None]),
    "unknown": st.just("1"),
}


def by_the_schema(request: object) -> dict | None:
    """What the schema loads without the quick way; None where it refuses."""
    try:
        return super(NewDecisionSchema, SCHEMA).load(request)
    except ValidationError:
        return None


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_a_request_is_read_as_the_schema_reads_it_or_left_to_the_schema(data):
    request = dict(USUAL)
    for name in data.draw(st.lists(st.sampled_from(sorted(parts)), max_size=4)):
        request[name] = data.draw(parts[name])
    for name in data.draw(st.lists(st.sampled_from(sorted(USUAL)), max_size=3)):
        request.pop(name, None)
    quick = usual_request(request)
    if quick is not None:
        expected = by_the_schema(request)
        assert quick == expected
        assert list(quick) == list(expected)
        assert repr(quick) == repr(expected)  # the digits too


@pytest.mark.parametrize("left_out", ["k", "dof", "prior", "results", "specification", "store"])
def test_the_usual_request_is_read_the_quick_way(left_out):
    request = {name: part for name, part in USUAL.items() if name != left_out}
    assert usual_request(request) == by_the_schema(request)
    assert usual_request(request) is not None


def test_a_nominal_with_a_symmetric_tolerance_is_usual_too():
    request = {name: part for name, part in USUAL.items() if name != "limits"}
    request |= {"nominal": "10", "tolerance": "0.5"}
    assert usual_request(request) == by_the_schema(request)
    assert usual_request(request) is not None


@pytest.mark.parametrize("request_", [None, [], "x", [USUAL]])
def test_what_is_no_object_is_left_to_the_schema(request_):
    assert usual_request(request_) is None
