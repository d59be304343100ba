"""The points of one line of a recall: verdicts before and after, and what nobody can say."""

from __future__ import annotations

from oracle_cases import OPEN, force_fault, percent, row

BOUND = {"item": "REF", "kind": "interval", "bound_rel": "0.0005"} | OPEN


def verdicts(made):
    return [(p["verdict_before"], p["verdict_after"], p["changed"]) for p in made["points"]]


def test_a_result_that_comes_to_lie_on_its_acceptance_limit_passes(entry):
    # T 0.01, U 0.002: accepted to -0.008. 0.0005 x 10 kN = 0.005 off -0.003 is -0.008 exactly.
    made = entry(row("10", "-0.003"), row("10", "-0.00300000001", point=2))
    assert verdicts(made) == [("pass", "pass", False), ("pass", "fail", True)]
    assert made["overall"] == {"single": {"before": "pass", "after": "fail"}}
    assert made["verdict_changes"] is True


def test_the_verdict_before_is_the_reported_one(entry):
    made = entry(row("10", "0", verdict_reported="fail"))
    assert verdicts(made) == [("fail", "pass", True)]


def test_a_reported_verdict_that_its_own_rule_had_refused_is_told(entry):
    # Reported pass at 0.02 > 0.008 failed before; moved by -0.005 to 0.015 it fails still.
    made = entry(
        row("10", "0.02", verdict_reported="pass", stage="as_left"),
        row("10", "0.001", point=2, verdict_reported="pass", stage="as_left"),
    )
    first, second = made["points"]
    assert (first["verdict_before"], first["decided_before"]) == ("pass", "fail")
    assert (first["verdict_after"], first["changed"]) == ("fail", True)
    assert "decided_before" not in second
    assert made["contradicted_before"] == (
        "contradicted its own rule before: point 1 as left was reported as pass, where its rule "
        "gave fail"
    )


def test_a_reported_verdict_that_its_rule_gives_too_is_not_remarked_on(entry):
    made = entry(row("10", "0", verdict_reported="pass"))
    assert "contradicted_before" not in made
    assert "decided_before" not in made["points"][0]


def test_stages_are_judged_apart(entry):
    found = row("10", "-0.005", stage="as_found")
    made = entry(found, row("10", "0.001", stage="as_left"))
    assert made["overall"] == {
        "as_found": {"before": "pass", "after": "fail"},
        "as_left": {"before": "pass", "after": "pass"},
    }


def test_without_limits_or_rule_no_verdict_is_invented(entry):
    bare = {"point": 1, "unit": "kN", "applied": "10", "error": "0", "U": "0.002"}
    made = entry(bare, {**bare, "point": 2, "tolerance": "1"})
    assert verdicts(made) == [(None, None, None)] * 2
    assert (made["verdict_changes"], made["overall"]["single"]["after"]) == (None, None)


def test_a_rule_that_needs_u_says_nothing_without_it(entry):
    no_U = {name: value for name, value in row("10", "0").items() if name not in ("U", "k")}
    made = entry(no_U, no_U | {"point": 2, "rule": "simple"})
    assert verdicts(made) == [(None, None, None), ("pass", "pass", False)]


def test_a_reported_verdict_that_cannot_be_decided_again_is_open(entry):
    bare = {"point": 1, "unit": "kN", "applied": "10", "error": "0", "verdict_reported": "pass"}
    made = entry(bare)
    assert verdicts(made) == [("pass", None, None)]
    assert made["verdict_changes"] is None


def test_the_size_of_a_shift_is_compared_with_u(entry):
    # 0.005/0.002 = 2.5 at 10 kN, and 5 at 20 kN
    made = entry(row("10"), row("20", point=2))
    assert made["max_shift_over_U"] == "5"


def test_without_any_u_a_shift_has_nothing_to_be_compared_with(entry):
    bare = {"point": 1, "unit": "kN", "applied": "10", "error": "0"}
    assert entry(bare)["max_shift_over_U"] is None


def test_an_interval_lists_every_verdict_best_first(entry):
    # +-0.0005 x 10 = +-0.005: -0.006 reaches from -0.011 to -0.001
    made = entry(row("10", "-0.006"), row("10", "0", point=2), fault=BOUND)
    first, second = made["points"]
    assert first["shift"] == {"lower": "-0.005", "upper": "0.005"}
    assert first["corrected_error"] == {"lower": "-0.011", "upper": "-0.001"}
    assert (first["verdicts_possible"], first["verdict_after"]) == (["pass", "fail"], None)
    assert (second["verdicts_possible"], second["verdict_after"]) == (["pass"], "pass")
    assert (made["class"], made["could_change"]) == ("affected", True)
    assert made["overall"]["single"] == {"before": "pass", "after": None}
    assert made["verdict_changes"] is None


def test_an_interval_that_leaves_every_verdict_changes_nothing(entry):
    made = entry(row("10", "0"), fault=BOUND)
    assert "could_change" not in made
    assert made["verdict_changes"] is False


def test_four_zones_keep_their_names(entry):
    # T 0.01, U 0.002, edges 0.008, 0.01, 0.012 on the negative side: -0.004 - 0.005 = -0.009
    made = entry(row("10", "-0.004", rule="four_state_U"))
    assert verdicts(made) == [("pass", "conditional_pass", True)]


def test_an_uncertain_correction_widens_the_guard_band(entry):
    # 10 x 0.0003 = 0.003 beside 0.002: U = sqrt(0.000013) = 0.00360555...; 0.005 + U < 0.01
    fault = force_fault("REF", U_delta_rel="0.0003")
    made = entry(row("10", "0"), row("10", "-0.002", point=2), fault=fault)
    assert made["points"][0]["U_after"] == "0.00360555127546"
    # Without it -0.007 would pass, its limit being -0.008; now it is -0.00639...
    assert verdicts(made) == [("pass", "pass", False), ("pass", "fail", True)]


def test_an_exposed_entry_has_plain_zero_shifts_and_no_u(entry):
    fault = force_fault("REF", delta="0")
    made = entry(row(), percent("0.01", point=2), fault=fault)
    assert made["class"] == "exposed_zero_effect"
    assert [point["shift"] for point in made["points"]] == ["0", "0"]
    assert not any("U_after" in point for point in made["points"])


def test_a_delta_of_zero_that_is_uncertain_moves_nothing_and_affects(entry):
    # Row: U 0.002 (k 2) at 10 kN. sqrt(0.002^2 + (10 x 0.0003)^2) = 0.00360555...
    made = entry(row(), fault=force_fault("REF", delta="0", U_delta_rel="0.0003"))
    assert (made["class"], made["points"][0]["shift"]) == ("affected", "0")
    assert made["points"][0]["U_after"].startswith("0.0036055")


def test_an_indeterminate_entry_gives_its_points_with_nulls(entry):
    made = entry(row(), row("0", point=2), fault={"item": "REF", "kind": "unknown"} | OPEN)
    first, zero = made["points"]
    assert (first["shift"], first["verdict_before"], first["changed"]) == (None, "pass", None)
    assert (zero["shift"], zero["verdict_after"]) == ("0", "pass")
    assert made["overall"] == {"single": {"before": "pass", "after": None}}
    assert made["verdict_changes"] is None
