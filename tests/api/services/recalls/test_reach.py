"""Who could be reached, before anything is judged: the first list, its windows and its refusals.

That it misses nothing that the complete recall finds is in tests/whole/test_first_lists.py.
"""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref

from api.errors import UnknownReference
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.reach import asked, first_list
from api.store.reading import SessionReader
from api.store.sources import Recorded

NOW = 1_893_456_000_000_000  # 2030-01-01T00:00:00Z
LABORATORY = lab(
    cal("X-1", "WS", "01-05", [ref("REF")], external=True, issuer="Outer Lab"),
    cal("W-1", "WS", "02-01", [ref("REF")]),
    cal("C-1", "A", "03-01", [ref("WS")], customer="Mine Works", status="superseded"),
    cal("C-1", "A", "03-01", [ref("WS")], customer="Mine Works", revision=1),
    cal("C-2", "B", "04-01", [ref("WS")], status="voided"),
    cal("Z-1", "Z", "05-01", [ref("OTHER")]),
)


@pytest.fixture
def source(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield Recorded(SessionReader(session))


def load(**request):
    return RecallRequestSchema().load(request)


def found(source, **request):
    return first_list(source, load(**request), NOW)


def names(answer):
    return [(one["certificate"], one["revision"]) for one in answer["certificates"]]


def test_issued_certificates_that_could_rest_on_the_fault_are_named_in_order(source):
    answer = found(source, fault=force_fault())
    assert names(answer) == [("C-1", 1), ("W-1", 0), ("X-1", 0)]
    assert answer["count"] == 3
    assert answer["as_of"] == "2030-01-01T00:00:00Z"
    assert "not judged" in answer["meaning"]


def test_an_entry_says_whose_it_is_and_of_which_issuer(source):
    own, _, outer = found(source, fault=force_fault())["certificates"]
    assert own == {"certificate": "C-1", "revision": 1, "item": "A", "customer": "Mine Works",
                   "performed_at": "2025-03-01T10:00:00Z"}  # fmt: skip
    assert (outer["external"], outer["issuer"]) == (True, "Outer Lab")


def test_what_was_used_before_the_window_is_not_reached(source):
    late = found(source, fault=force_fault(last_good_at="2025-01-20T00:00:00Z"))
    assert names(late) == [("C-1", 1), ("W-1", 0)]
    assert late["window"]["start"] == "2025-01-20T00:00:00Z"


def test_several_faults_have_a_window_each_and_name_a_certificate_once(source):
    answer = found(source, faults=[force_fault(), force_fault("OTHER"), force_fault("WS")])
    assert [one["item"] for one in answer["windows"]] == ["REF", "OTHER", "WS"]
    assert "window" not in answer
    assert names(answer) == [("C-1", 1), ("W-1", 0), ("X-1", 0), ("Z-1", 0)]


@pytest.mark.parametrize(
    ("request_", "place"),
    [
        ({"fault": force_fault("NOBODY")}, "/fault/item"),
        ({"faults": [force_fault(), force_fault("NOBODY")]}, "/faults/1/item"),
        ({"fault": {"certificate": "N-9", "kind": "unknown"} | OPEN}, "/fault/certificate"),
    ],
)
def test_what_is_not_recorded_is_refused_where_it_stands(source, request_, place):
    with pytest.raises(UnknownReference) as refused:
        found(source, **request_)
    assert refused.value.issues[0].pointer == place


def test_a_method_that_is_faulty_is_named_in_the_question(source):
    fault = {"method": "MP v3", "kind": "unknown"} | OPEN
    assert asked(source, load(faults=[fault, force_fault()])).methods == {"MP v3"}
