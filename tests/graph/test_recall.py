"""What a fault reaches: lists, generations, paths; networkx as the judge of what can be reached."""

from __future__ import annotations

import random
from fractions import Fraction

import networkx as nx
import pytest
from graph_records import DAY, at, cal, point, use

from graph.faults import Effect, ForceError, ReadoutGain, UnknownEffect
from graph.lists import AFFECTED, CLEARED, EXPOSED, INDETERMINATE, LISTS, TRACED, rank
from graph.recall import SuspectWindow, assess
from graph.traceability import CyclicTrace, in_order_of_dependence, reached

F = Fraction
OPEN = {"item": "REF", "start_us": 0, "end_us": 20 * DAY}


def case(kind=ForceError, **more) -> SuspectWindow:
    given = {"delta_rel": F("0.001")} if kind is ForceError else {}
    fault = kind(**OPEN | given | more)
    return SuspectWindow(fault, fault.window())


def judged(cases, calibrations):
    """Judge calibrations given in any order."""
    by_key = {one.key: one for one in calibrations}
    graph = reached(calibrations)
    order = [by_key[key] for key in in_order_of_dependence(graph)]
    found = assess(cases, order, graph)
    return sorted(found, key=lambda one: (LISTS.index(one.list_name), rank(one)))


def found(*calibrations, cases=None):
    return {one.calibration.number: one for one in judged(cases or [case()], calibrations)}


def on(source: int, **more):
    """A use of what calibration `source` calibrated."""
    return use(f"I-{source}", source=source, **more)


def test_an_effect_is_passed_on_by_weight_over_generations():
    # 0.001, then x 0.5, then x 0.5 again
    lists = found(cal(1, use()), cal(2, on(1, weight="0.5")), cal(3, on(2, weight="0.5")))
    assert [one.list_name for one in lists.values()] == [AFFECTED] * 3
    deltas = [one.effects[0][0] for one in lists.values()]
    assert deltas == [
        Effect(F("0.001"), F(1)),
        Effect(F("0.0005"), F("0.5")),
        Effect(F("0.00025"), F("0.25")),
    ]
    assert [one.why.generation for one in lists.values()] == [1, 2, 3]
    assert lists["C-3"].why.paths == (("REF", "C-1", "I-1", "C-2", "I-2", "C-3"),)


def test_a_diamond_adds_both_sides_and_names_both_paths():
    top = [cal(1, use()), cal(2, use())]
    lists = found(*top, cal(3, on(1, weight="0.5"), on(2, weight="0.5")))
    assert lists["C-3"].effects[0][0] == Effect(F("0.001"), F(1))
    assert lists["C-3"].why.paths == (("REF", "C-1", "I-1", "C-3"), ("REF", "C-2", "I-2", "C-3"))


def test_weights_that_cancel_are_an_exposure_without_effect():
    lists = found(cal(1, use()), cal(2, use()), cal(3, on(1), on(2, weight="-1")))
    assert lists["C-3"].list_name == EXPOSED
    # and nothing goes on from there
    assert "C-4" not in found(
        cal(1, use()), cal(2, use()), cal(3, on(1), on(2, weight="-1")), cal(4, on(3))
    )


def test_what_only_confirmed_limits_passes_nothing_on_but_exposes_one_step():
    confirmed = cal(1, use(), assigns_value=False)
    lists = found(confirmed, cal(2, use("I-1", evidence=1)), cal(3, on(2)))
    assert (lists["C-1"].list_name, lists["C-2"].list_name) == (AFFECTED, EXPOSED)
    assert "C-3" not in lists


def test_the_unknown_is_passed_on_and_outranks_the_known():
    lists = found(
        cal(1, use()), cal(2, use()), cal(3, on(1), on(2)), cases=[case(UnknownEffect), case()]
    )
    assert {one.list_name for one in lists.values()} == {INDETERMINATE}


def test_a_weight_of_zero_passes_nothing_on_and_still_names_the_path():
    lists = found(cal(1, use()), cal(2, on(1, weight="0")))
    assert lists["C-2"].list_name == EXPOSED
    assert lists["C-2"].why.count == 1


@pytest.mark.parametrize("status", ["draft", "superseded", "voided"])
def test_what_is_not_issued_is_traced_and_still_followed(status):
    lists = found(cal(1, use(), status=status), cal(2, on(1)))
    assert (lists["C-1"].list_name, lists["C-1"].reason) == (TRACED, status)
    assert lists["C-2"].list_name == AFFECTED


def test_a_cleared_one_that_is_not_issued_is_cleared_by_its_status():
    lists = found(cal(1, use(day=50)), cal(2, use(day=50), status="draft"))
    assert [(one.list_name, one.reason) for one in lists.values()] == [
        (CLEARED, "window"),
        (CLEARED, "status"),
    ]


def test_a_certificate_without_results_is_indeterminate():
    assert found(cal(1, use(), points=()))["C-1"].list_name == INDETERMINATE
    assert found(cal(1, use(weight="0"), points=()))["C-1"].list_name == EXPOSED


def test_several_faults_reach_a_certificate_once_with_an_effect_each():
    other = case(item="BOX", delta_rel=F("0.002"))
    lists = found(cal(1, use(), use("BOX")), cal(2, use("BOX")), cases=[case(), other])
    assert [effect.delta for effect in lists["C-1"].effects[0]] == [F("0.001"), F("0.002")]
    assert [effect.delta for effect in lists["C-2"].effects[0]] == [0, F("0.002")]
    assert lists["C-1"].why.paths == (("BOX", "C-1"), ("REF", "C-1"))


def test_independent_faults_that_cancel_affect_and_one_whose_paths_cancel_does_not():
    # 0.001 - 0.001 = 0 twice; only one fault is fully correlated with itself.
    other = case(item="BOX", delta_rel=F("-0.001"))
    two = found(cal(1, use(), use("BOX")), cases=[case(), other])["C-1"]
    assert two.list_name == AFFECTED
    one = found(cal(1, use(), use(role="other", weight="-1")))["C-1"]
    assert (one.list_name, one.cancels) == (EXPOSED, True)


def test_a_gain_is_added_to_what_the_other_uses_carry():
    gain = case(ReadoutGain, item="BOX", gain=F("1.25"))
    lists = found(
        cal(1, use("BOX", role="readout_reference")),
        cal(2, on(1), use("BOX", role="readout_dut")),
        cases=[gain],
    )
    # 1/1.25 - 1 = -0.2 by the reference that was read; 0.25 - 0.2 = 0.05 for the one after
    assert lists["C-1"].effects[0][0].delta == F("-0.2")
    assert lists["C-2"].effects[0][0].delta == F("0.05")


def test_where_the_fault_speaks_for_a_use_the_value_in_force_adds_nothing():
    # REF was calibrated on C-1, which used REF itself years before.
    lists = found(cal(1, use(), item="REF"), cal(2, use("REF", source=1)))
    assert lists["C-2"].effects[0][0] == Effect(F("0.001"), F(1))
    assert lists["C-2"].why.paths == (("REF", "C-2"),)


def test_lists_are_ordered_by_generation_number_and_revision():
    made = [
        cal(1, use(), number="B"),
        cal(2, use(), number="A", revision=1),
        cal(3, use(), number="A", revision=0),
        cal(4, on(1), number="0"),
    ]
    judgements = judged([case()], made)
    order = [(one.calibration.number, one.calibration.revision) for one in judgements]
    assert order == [("A", 0), ("A", 1), ("B", 0), ("0", 0)]


def test_a_calibration_that_rests_on_itself_is_an_error():
    with pytest.raises(CyclicTrace, match="rests on itself"):
        found(cal(1, on(2)), cal(2, on(1)))


@pytest.mark.parametrize("seed", range(20))
def test_what_is_reached_is_what_networkx_reaches(seed):
    chance = random.Random(seed)
    size = 40
    edges = [(a, b) for b in range(1, size) for a in range(b) if chance.random() < 2 / size]
    direct = {key for key in range(size) if chance.random() < 0.1}
    made = [
        cal(
            key,
            *([use(day=5)] if key in direct else []),
            *[on(a) for a, b in edges if b == key],
            performed=at(key),
            points=[point(1, "10"), point(2, "20")],
        )
        for key in range(size)
    ]
    chance.shuffle(made)
    graph = nx.DiGraph(edges)
    graph.add_nodes_from(range(size))
    graph.add_edges_from(("REF", key) for key in direct)
    graph.add_node("REF")
    lists = found(*made)
    assert {one.calibration.key for one in lists.values()} == nx.descendants(graph, "REF")
    depth = nx.single_source_shortest_path_length(graph, "REF")
    for one in lists.values():
        key = one.calibration.key
        assert one.why.generation == depth[key]
        # All weights are 1, so that delta and weight count the paths.
        paths = sum(1 for _ in nx.all_simple_paths(graph, "REF", key))
        assert one.why.count == paths
        assert one.effects[0][0] == Effect(F("0.001") * paths, F(paths))
