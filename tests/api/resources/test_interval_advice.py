"""Interval advice over HTTP: from an item's own certificates, inspections and loads."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref, row

AT = "2025-12-31T00:00:00Z"


def result(error="0", **more):
    """One result at 10 kN; |error| may be 0.010 kN."""
    return row(error=error, tolerance="0.010", **more)


def history(*errors, item="LINK", due="2026-06-01T10:00:00Z", **more):
    """Calibrations on the first of June of each year up to 2025."""
    years = range(2026 - len(errors), 2026)
    return [
        cal(
            f"C-{year}",
            item,
            f"{year}-06-01T10:00:00Z",
            [ref("REF")],
            [result(error)] if isinstance(error, str) else error,
            **({"due_at": due} if year == 2025 else {}),
            **more,
        )
        for year, error in zip(years, errors, strict=True)
    ]


@pytest.fixture
def ask(client):
    """Record a laboratory and ask for the advice of one of its items."""

    def advice(laboratory, item="LINK", **query):
        assert client.post("/v1/imports", json=laboratory).status_code == 201
        answer = client.get(f"/v1/items/{item}/interval-advice", query_string={"at": AT} | query)
        assert answer.status_code == 200, answer.text
        return answer.get_json()

    return advice


def step(found, name):
    (one,) = [one for one in found["steps"] if one["step"] == name]
    return one


def test_good_results_lengthen_the_interval_by_a_step(ask):
    found = ask(lab(*history("0.001", "0.002", "0.003")), reaction_days=14)
    assert (found["present_interval_days"], found["interval_days"]) == (365, 401)
    assert found["last_calibrated_at"] == "2025-06-01T10:00:00Z"
    assert (found["next_date"], found["act_by"]) == ("2026-07-07", "2026-06-23")
    assert [one["share_of_tolerance"] for one in found["history"]] == ["0.1", "0.2", "0.3"]
    assert [one["interval_days"] for one in found["history"]] == [None, 366, 365]
    assert "the laboratory decides" in found["statement"]
    assert not found["too_little_history"]


@pytest.mark.parametrize("zone", ["UTC", "Europe/Prague", "Pacific/Auckland"])
def test_bare_dates_make_an_interval_no_day_longer(ask, zone):
    # 2025-01-10 to 2026-01-10 is 365 days; kept, the next date is the recorded one.
    made = cal("C-1", "LINK", "2025-01-10", [ref("REF")], [result("0.001")], due_at="2026-01-10")
    laboratory = lab(made, time_zone=zone)
    found = ask(laboratory)
    assert (found["present_interval_days"], found["next_date"]) == (365, "2026-01-10")


def test_a_result_as_found_outside_shortens_whatever_was_left(ask):
    mixed = [result("0.012", stage="as_found"), result("0.000", stage="as_left")]
    found = ask(lab(*history("0.001", "0.002", mixed)), target_reliability="0.9")
    assert found["history"][-1]["outcome"] == "outside"
    assert found["interval_days"] == 154  # 365 x 1.1^-9 = 154.8
    assert "120 % of the tolerance" in step(found, "staircase")["reason"]


def test_too_little_history_keeps_the_present_interval_and_says_so(ask):
    found = ask(lab(*history("0.001")))
    assert (found["too_little_history"], found["interval_days"]) == (True, 365)


def test_without_due_date_there_is_no_number_unless_an_interval_is_given(ask, client):
    found = ask(lab(*history("0", "0", "0", due=None)))
    assert (found["interval_days"], found["next_date"]) == (None, None)
    answer = client.get("/v1/items/LINK/interval-advice?present_interval_days=100").get_json()
    assert answer["interval_days"] == 110


def test_a_date_beyond_the_calendar_is_none(ask):
    found = ask(lab(*history("0", "0", "0", due="9990-01-01T00:00:00Z")))
    assert found["interval_days"] > 3_000_000
    assert found["next_date"] is None


def test_another_tolerance_may_be_the_basis(ask):
    # 0.05 % of 10 kN is 0.005 kN.
    found = ask(lab(*history("0", "0", "0.004")), tolerance_rel_pct="0.05")
    assert found["history"][-1]["share_of_tolerance"] == "0.8"


def test_relative_results_are_judged_in_percent(ask):
    rows = [{"point": 1, "error_rel_pct": "0.03", "tolerance_rel_pct": "0.1"}]
    found = ask(lab(*history(rows, rows, rows)))
    assert found["history"][0]["share_of_tolerance"] == "0.3"


def test_drift_is_taken_from_what_was_left_to_what_was_found_next(ask):
    # 0.002 in each year without scatter (366 and 365 days); 0.006 are left to 0.010 from 0.004.
    found = ask(lab(*history("0.000", "0.002", "0.004")), method="drift")
    assert found["interval_days"] == 730


def test_a_fast_drift_shortens_the_interval(ask):
    # 0.004 a year, hardly scattered (a leap year): 0.002 are left, half a year.
    found = ask(lab(*history("0.000", "0.004", "0.008")), method="drift")
    assert 150 < found["interval_days"] < 183
    assert "point 1 kN reaches its limit first" in step(found, "drift")["reason"]


def test_wear_and_use_shorten_the_interval(ask):
    laboratory = lab(*history("0", "0", "0", load_applications=150))
    (item,) = [one for one in laboratory["items"] if one["id"] == "LINK"]
    item["design_life_cycles"] = 1000
    laboratory["checks"] = [
        {
            "id": "K-1",
            "item": "LINK",
            "at": "2025-01-01T00:00:00Z",
            "result": "pass",
            "kind": "inspection",
            "wear_pct": "9",
            "limit_pct": "10",
        },
        {
            "id": "K-2",
            "item": "LINK",
            "at": "2025-07-01T00:00:00Z",
            "result": "pass",
            "kind": "inspection",
            "wear_pct": "6",
            "limit_pct": "10",
        },
    ]
    found = ask(laboratory)
    assert found["use"] == {
        "wear_pct": "6",
        "limit_pct": "10",
        "applications_per_year": "150",
        "applications_so_far": 0,  # none since the last inspection, none counted before it
        "design_life_cycles": 1000,
    }
    # 365 x 1.1 = 401; worn to 60 % of the limit: x 0.75 = 300; 15 % of its life a year: 225
    assert [one["interval_days"] for one in found["steps"]] == [365, 401, 300, 225]
    assert step(found, "wear")["source"] == "common practice, no source"


def test_a_part_is_loaded_with_the_assembly_that_held_it(ask):
    uses = [{"item": "CLEVIS", "role": "adapter"}]
    laboratory = lab(
        cal("U-1", "OTHER", "2025-03-01T10:00:00Z", uses, load_applications=20),
        cal("U-2", "OTHER", "2025-09-01T10:00:00Z", uses, load_applications=30),
        cal(
            "U-2",
            "OTHER",
            "2025-09-01T10:00:00Z",
            uses,
            load_applications=31,
            revision=1,
            status="draft",
        ),
        *history("0"),
    )
    laboratory["items"].append({"id": "PIN", "kind": "adapter_part"})
    laboratory["composition"] = [
        {"assembly": "CLEVIS", "part": "PIN", "from": "2025-06-01T00:00:00Z"}
    ]
    found = ask(laboratory, item="PIN", present_interval_days=100)
    # Only the second use: held since June, and a revision is the same event.
    assert found["use"]["applications_so_far"] == 30
    assert (found["interval_days"], found["last_calibrated_at"]) == (100, None)
    assert found["next_date"] is None


def test_in_use_follows_the_load_applications(ask):
    laboratory = lab(
        *history("0", "0", "0"),
        *(
            cal(
                f"U-{n}",
                "OTHER",
                at,
                [{"item": "LINK", "role": "force_reference"}],
                load_applications=100,
            )
            for n, at in enumerate(("2024-09-01T10:00:00Z", "2025-09-01T10:00:00Z"))
        ),
    )
    found = ask(laboratory, method="in_use")
    # 100 in the last interval x 1.1, at 100 a year
    assert found["interval_days"] == 401
    assert "100 load applications in the last interval" in step(found, "in use")["reason"]


def test_a_history_in_a_recall_is_noted(ask, client):
    laboratory = lab(*history("0", "0", "0"))
    ask(laboratory)
    client.post("/v1/recalls", json={"fault": force_fault()})
    found = client.get("/v1/items/LINK/interval-advice").get_json()
    assert any("1 certificate(s) of this history stand in a recall" in n for n in found["notes"])


@pytest.mark.parametrize(
    "query",
    [
        {"method": "black_box"},
        {"target_reliability": "1"},
        {"step_down": "0"},
        {"min_interval_days": 10, "max_interval_days": 5},
        {"at": "2025-06-01T10:00:00"},
        {"present_interval_days": 0},
        {"unknown": "1"},
    ],
)
def test_a_policy_that_cannot_be_is_refused(client, query):
    client.post("/v1/items", json={"id": "LINK", "kind": "customer_instrument"})
    answer = client.get("/v1/items/LINK/interval-advice", query_string=query)
    assert answer.status_code == 422


def test_an_unknown_item_is_not_found(client):
    assert client.get("/v1/items/none/interval-advice").status_code == 404


def test_an_id_with_a_slash_is_found(client):
    client.post("/v1/items", json={"id": "A/1", "kind": "customer_instrument"})
    found = client.get("/v1/items/A/1/interval-advice").get_json()
    assert (found["item"], found["interval_days"]) == ("A/1", None)
