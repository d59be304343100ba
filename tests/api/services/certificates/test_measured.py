"""A calibration in one flow: set-up check, runs, budget, results; nothing is written down twice.

The readings and their means stand in tests/flow.py. Digits are compared as text.
"""

from __future__ import annotations

import pytest
from import_forms import csv_answer

from api.services.upkeep.verification import verify
from api.store.evaluations import RunEvaluation
from tests.flow import DRIFT, MEASURED, RUNS, measure, recorded, refused

CERTIFICATE = "/v1/certificates/K-1"


@pytest.fixture
def bench(client, once):
    """The laboratory with a set-up check, runs and a budget; `ids` names them."""
    client.ids = once(measure)
    return client


def record(bench, status=201, **changes):
    return recorded(bench, "calibrations", MEASURED | changes, status)


def values(result, *names):
    return [result.get(name) for name in names]


def test_one_name_brings_the_results_the_uses_the_mode_and_the_instant(bench):
    made = record(bench, budget="UB-1")
    numbers = ("point", "direction", "applied", "indicated", "error", "unit")
    assert [values(one, *numbers) for one in made["results"]] == [
        [1, "increasing", "10.00", "10.02", "0.02", "kN"],
        [2, "increasing", "50.00", "50.04", "0.04", "kN"],
        [3, "increasing", "100.00", "100.083333333", "0.083333333", "kN"],
    ]
    budget = bench.get("/v1/uncertainty-budgets/UB-1").get_json()["points"]
    for one, point in zip(made["results"], budget, strict=True):
        stated = [point["U"], point["k"], str(point["dof_for_k"])]
        assert values(one, "U", "k", "dof") == stated
        assert one["taken"] == {
            "run_evaluation": ["applied", "unit", "indicated", "error"],
            "budget": ["U", "k", "dof"],
        }
    assert [(one["item"], one["role"], one["taken_from"]) for one in made["uses"]] == [
        ("REF-1", "force_reference", {"set_up_check": 1}),
        ("CLV-1", "adapter", {"set_up_check": 1}),
        ("CLV-2", "adapter", {"set_up_check": 1}),
    ]
    assert made["uses"][0]["in_force"] == {"certificate": "NI-7", "revision": 0}
    assert (made["mode"], made["performed_at"]) == ("tension", "2026-03-02T09:00:00Z")


@pytest.mark.parametrize(
    ("typed", "refused_for"),
    [
        ("2026-03-02T09:00:00Z", None),
        ("2026-03-02T10:00:00+01:00", None),  # the same instant
        ("2026-03-02", None),  # the day that it lies in
        ("2026-03-02T09:10:00Z", "/performed_at"),
        ("2026-03-01", "/performed_at"),
        ("2026-03-03T09:00:00Z", "/performed_at"),
    ],
)
def test_the_time_of_a_calibration_is_that_of_its_runs(bench, typed, refused_for):
    sent = MEASURED | {"budget": "UB-1", "performed_at": typed}
    answer = bench.post("/v1/calibrations", json=sent)
    if refused_for is None:
        assert answer.status_code == 201
        return
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert (error["pointer"], error["value"]) == (refused_for, typed)
    assert f"{typed}, but run evaluation 1 was performed 2026-03-02T09:00:00Z" in error["detail"]


def test_what_it_was_measured_in_is_shown(bench):
    made = record(bench, budget="UB-1")
    assert values(made, "budget", "run_evaluation", "set_up_check") == ["UB-1", 1, 1]
    assert made["measured_in"] == {
        "set_up_checks": [{"id": 1, "at": "2026-03-02T08:00:00Z", "outcome": "not_checked"}],
        "run_evaluations": [
            {"id": 1, "points": 3, "series": 3, "performed_at": "2026-03-02T09:00:00Z"}
        ],
        "budgets": [{"id": "UB-1"}],
    }
    assert bench.get(CERTIFICATE).get_json() == made


def test_the_same_again_is_unchanged_and_a_plain_calibration_is_as_it_was(bench):
    first = record(bench, budget="UB-1")
    assert record(bench, 200, budget="UB-1") == first
    plain = record(bench, certificate="P", performed_at="2026-03-02")
    assert "measured_in" not in plain
    assert plain["results"] == []


def test_without_a_budget_u_is_that_of_the_runs(bench):
    run = bench.get("/v1/run-evaluations/1").get_json()["points"][0]["uncertainty"]
    first = record(bench, run_evaluation=1)["results"][0]
    assert values(first, "U", "k", "dof") == [run["U"], "2", None]
    assert first["taken"] == {"run_evaluation": ["applied", "unit", "indicated", "error", "U", "k"]}


def test_results_may_say_what_no_run_knows_by_force_or_by_number(bench):
    sent = [
        {"point": "half", "applied": "50", "tolerance": "0.1", "rule": "guard_U"},
        {"point": 3, "tolerance": "0.1", "rule": "guard_U"},
        {"point": 2, "direction": "decreasing"},
    ]
    half, full, falling = record(bench, budget="UB-1", results=sent)["results"]
    # |0.04| + 0.027 <= 0.1; |0.083333333| + 0.045 > 0.1: guarded by U
    assert values(half, "applied", "error", "verdict") == ["50", "0.04", "pass"]
    assert values(full, "applied", "error", "verdict") == ["100.00", "0.083333333", "fail"]
    assert falling["error"] == "0.065"  # (50.06 + 50.07)/2 - 50


def test_an_agreement_gives_rule_and_specification(bench):
    recorded(bench, "customers", {"name": "Quill Hire"})
    terms = [{"kind": "percent_of_nominal", "value": "0.2"}]
    recorded(bench, "specifications", {"id": "LINK", "tolerance": {"terms": terms}})
    agreed = {"id": "A-1", "customer": "Quill Hire", "rule": {"id": "simple", "version": 1}}
    agreed |= {"specification": {"id": "LINK", "version": 1}, "from": "2026-01-01", "by": "R. Fenn"}
    recorded(bench, "agreements", agreed)
    made = record(bench, budget="UB-1", customer="Quill Hire")
    # 0.2 % of 10, 50 and 100 kN: 0.02, 0.1, 0.2 kN; the first error is on its limit, and inside
    assert [one["verdict"] for one in made["results"]] == ["pass", "pass", "pass"]
    assert made["overall"] == {"single": "pass"}


@pytest.fixture
def both(bench):
    """Runs as found and as left, each with its budget."""
    left = recorded(bench, "run-evaluations", RUNS | {"set_up_check": 1})["id"]
    recorded(
        bench,
        "uncertainty-budgets",
        {"id": "UB-2", "run_evaluation": left, "components": [DRIFT]},
    )
    bench.ids["left"] = left
    return bench


def test_each_stage_may_have_runs_and_a_budget_of_its_own(both):
    left = both.ids["left"]
    by_stage = {"as_found": "UB-1", "as_left": "UB-2"}
    made = record(both, budget=by_stage)
    found = [values(one, "stage", "point", "run_evaluation", "budget") for one in made["results"]]
    assert found == [
        *(["as_found", n, 1, "UB-1"] for n in (1, 2, 3)),
        *(["as_left", n, left, "UB-2"] for n in (1, 2, 3)),
    ]
    assert made["budget"] == by_stage
    assert [one["id"] for one in made["measured_in"]["run_evaluations"]] == [1, left]


def test_a_result_outranks_its_calibration(both):
    sent = [
        {"point": 1},
        {"point": 2, "run_evaluation": both.ids["left"], "budget": "UB-2"},
        {"point": 3, "budget": "UB-2"},
    ]
    made = record(both, budget="UB-1", results=sent)
    assert [one["run_evaluation"] for one in made["results"]] == [1, *[both.ids["left"]] * 2]


@pytest.mark.parametrize(
    ("field", "value", "detail"),
    [
        ("applied", "51", "run evaluation 1 has no force of 51 kN: 10.00, 50.00, 100.00 kN"),
        ("indicated", "50.05", "run evaluation 1 gives 50.04"),
        ("error", "0.05", "run evaluation 1 gives 0.04"),
        ("error_rel_pct", "0.09", "run evaluation 1 gives 0.04 of 50 kN"),
        ("U", "0.02", "the budget states U = 0.0273679858399 kN at 50.00 kN"),
        ("k", "2.2", "the budget states k = 2.04481786298"),
        ("dof", "12", "the budget has 57"),
    ],
)
def test_what_was_sent_and_differs_is_refused_by_name(bench, field, value, detail):
    result = {"point": 2, "applied": "50", "unit": "kN"} | {field: value}
    assert refused(bench, MEASURED | {"budget": "UB-1", "results": [result]}) == [
        (f"/results/0/{field}", detail)
    ]


def test_what_was_sent_and_agrees_stays_as_it_was_sent(bench):
    sent = {"point": 2, "applied": "50.0", "unit": "kN", "indicated": "50.040", "error": "0.0400"}
    # 0.04 of 50 is 0.08 %; 0.02737 rounded up to two digits; k 2.045 and dof 57.9 to nearest
    sent |= {"error_rel_pct": "0.08", "U": "0.028", "k": "2.04", "dof": "57.9"}
    (made,) = record(bench, budget="UB-1", results=[sent])["results"]
    assert {name: made[name] for name in sent} == sent


def test_u_that_was_sent_beside_runs_alone_must_be_theirs(bench):
    sent = MEASURED | {"run_evaluation": 1, "results": [{"point": 1, "U": "0.01", "unit": "kN"}]}
    ((pointer, detail),) = refused(bench, sent)
    assert pointer == "/results/0/U"
    assert detail.startswith("run evaluation 1 gives 0.01546")
    rounded = [{"point": 1, "U": "0.016", "unit": "kN", "U_rel_pct": "0.15"}]
    assert record(bench, run_evaluation=1, results=rounded)["results"][0]["k"] == "2"


def test_runs_in_millivolts_give_forces_and_leave_the_error_open(bench):
    key = recorded(bench, "run-evaluations", RUNS | {"indication_unit": "mV/V", "item": "TL-1"})
    made = record(bench, run_evaluation=key["id"])
    assert values(made["results"][0], "applied", "indicated", "error") == ["10.00", None, None]


def test_a_result_at_zero_force_is_its_own(bench):
    sent = [{"point": 0, "applied": "0", "error": "0.01", "unit": "kN", "U": "0.01"}, {"point": 1}]
    zero, first = record(bench, run_evaluation=1, results=sent)["results"]
    assert values(zero, "error", "U") == ["0.01", "0.01"]
    assert "taken" not in zero
    assert first["error"] == "0.02"


def test_an_instant_that_neither_says_is_asked_for(bench):
    bare = {name: part for name, part in RUNS.items() if name != "performed_at"}
    key = recorded(bench, "run-evaluations", bare)["id"]
    assert refused(bench, MEASURED | {"run_evaluation": key}) == [
        ("/performed_at", "required field is missing")
    ]
    assert refused(bench, MEASURED) == [("/performed_at", "required field is missing")]


def test_a_force_without_a_unit_is_refused_where_nothing_gives_it(bench):
    sent = {"performed_at": "2026-03-02", "results": [{"point": 1, "applied": "0"}]}
    missing = [("/results/0/unit", "applied has no unit")]
    assert refused(bench, MEASURED | sent) == missing
    fixed = {"id": "UB-9", "point": {"value": "10", "unit": "kN"}, "components": [DRIFT]}
    recorded(bench, "uncertainty-budgets", fixed)
    assert refused(bench, MEASURED | sent | {"budget": "UB-9"}) == missing


def test_a_void_and_a_later_budget_leave_what_was_taken(bench):
    made = record(bench, budget="UB-1")
    other = {"id": "UB-1", "run_evaluation": 1, "components": []}
    assert bench.post("/v1/uncertainty-budgets", json=other).status_code == 409
    for path in ("run-evaluations/1", "uncertainty-budgets/UB-1", "setup-checks/1"):
        for method in ("put", "patch", "delete"):
            assert getattr(bench, method)(f"/v1/{path}", json={}).status_code == 405
    bench.post(f"{CERTIFICATE}/void", json={"reason": "wrong item"})
    shown = bench.get(f"{CERTIFICATE}?revision=0").get_json()
    assert shown["results"] == made["results"]
    assert shown["measured_in"] == made["measured_in"]


def test_runs_that_were_changed_behind_the_back_are_found(bench, database):
    record(bench, budget="UB-1")
    with database.write() as session:
        assert verify(session).findings == []
        row = session.get_one(RunEvaluation, 1)
        row.answer = row.answer | {"force_unit": "N"}
        session.flush()
        (found,) = verify(session).findings
        assert "run evaluation" in str(found)
        session.rollback()


def test_an_import_takes_the_same(bench):
    laboratory = {"calibrations": [MEASURED | {"budget": "UB-1"}]}
    recorded(bench, "imports", laboratory)
    assert len(bench.get(CERTIFICATE).get_json()["results"]) == 3
    wrong = {
        "calibrations": [
            MEASURED | {"certificate": "K-2", "run_evaluation": 9, "performed_at": "2026-03-02"}
        ]
    }
    assert refused(bench, wrong, "imports") == [
        ("/calibrations/0/run_evaluation", 'run evaluation "9" is not recorded')
    ]


def test_a_spreadsheet_takes_the_same_and_says_what_stands_on_the_paper(bench):
    lines = "number,item,issued,budget,runs,set-up,place,conditions,received,by,authorised\n"
    lines += "K-1,TL-1,2026-03-03,UB-1,1,1,Hall 2,20 °C,2026-02-27,S. Holm,R. Fenn\n"
    columns = {"certificate": "number", "issued_at": "issued", "run_evaluation": "runs"}
    columns |= {"set_up_check": "set-up", "received_at": "received", "performed_by": "by"}
    columns |= {"authorised_by": "authorised"}
    same = {name: name for name in ("item", "budget", "place", "conditions")}
    table = {"file": "c.csv", "collection": "calibrations", "fields": columns | same}
    answer = csv_answer(bench, {"c.csv": lines.encode()}, {"tables": [table]}, "")
    assert answer.status_code == 201, answer.text
    shown = bench.get(CERTIFICATE).get_json()
    assert [one["error"] for one in shown["results"]] == ["0.02", "0.04", "0.083333333"]
    named = ("run_evaluation", "set_up_check", "budget", "place", "conditions", "received_at")
    assert values(shown, *named) == [1, 1, "UB-1", "Hall 2", "20 °C", "2026-02-27"]
    assert values(shown, "performed_by", "authorised_by") == ["S. Holm", "R. Fenn"]


def test_the_chain_says_what_each_certificate_of_it_was_measured_in(bench):
    record(bench, budget="UB-1")
    chain = bench.get(f"{CERTIFICATE}/chain").get_json()
    (own,) = chain["measured_in"]
    assert (own["certificate"], own["revision"]) == ("K-1", 0)
    assert [one["id"] for one in own["run_evaluations"]] == [1]
