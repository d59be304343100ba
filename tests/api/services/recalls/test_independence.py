"""A check is evidence only if its reference neither rested nor may have rested on the faulty."""

from __future__ import annotations

import json

import pytest
from worked_references import CASES, CHECK, KEPT, MOVED, fault, laboratory

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall

NOW_US = 1_893_456_000_000_000


def answered(database, made, case="by the faulty item"):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), NOW_US)
        request = RecallRequestSchema().load({"fault": fault(case)})
        answer = recall(session, request, NOW_US)
        session.rollback()
    return answer


@pytest.mark.parametrize("name", CASES)
def test_the_window_starts_where_it_was_worked_out_by_hand(database, name):
    # 0.0002 + 0.0002 = 0.0004 < 0.0005: the check would have seen the fault.
    made, start = laboratory(name)
    assert answered(database, made, name).head["window"]["start"] == start


def test_what_is_faulty_vouches_for_nothing_nor_does_what_ever_held_it(database):
    made, _ = laboratory("recalibrated")
    made["checks"] = [CHECK | {"against": "REF"}]
    assert answered(database, made).head["window"]["start"] == KEPT
    made["checks"] = [CHECK | {"against": "RIG"}]
    made["items"].append({"id": "RIG", "kind": "force_machine"})
    stay = {"assembly": "RIG", "part": "REF", "from": "2023-01-01T00:00:00Z"}
    made["composition"] = [stay | {"until": "2024-01-01T00:00:00Z"}]
    assert answered(database, made).head["window"]["start"] == KEPT


def test_each_check_is_judged_at_its_own_time(database):
    # S-1 is by the faulty item; from 1 March S-2, by another, is the value of the standard.
    made, _ = laboratory("recalibrated")
    early = CHECK | {"id": "K-0", "at": "2025-02-15T00:00:00Z"}
    made["checks"] = [early, CHECK]
    answer = answered(database, made)
    assert answer.head["window"]["start"] == MOVED
    said = {one["check"]: one["why"] for one in answer.head["window"]["checks"]}
    assert said["K-0"] == "not independent of the faulty item"


def test_a_weight_of_zero_does_not_make_a_reference_independent(database):
    made, _ = laboratory("by the faulty item")
    for one in made["calibrations"]:
        if one["item"] == "STD":
            one["uses"] = [use | {"weight": "0"} for use in one["uses"]]
    assert answered(database, made).head["window"]["start"] == KEPT


def test_a_reference_that_only_had_its_limits_confirmed_with_it_stays_independent(database):
    made, _ = laboratory("by the faulty item")
    for one in made["calibrations"]:
        if one["item"] == "STD":
            one["assigns_value"] = False
    answer = answered(database, made)
    assert answer.head["window"]["start"] == MOVED
    assert json.loads(answer.lists["affected"][0].text)["certificate"] == "C-1"
