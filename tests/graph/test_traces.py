"""Reason paths taken apart by key: what each name is, by the records that are told here."""

from __future__ import annotations

import pytest
from linked_entries import entry, keyed

from graph.affected import found_part
from graph.traces import traced

REF = {"item": "REF", "kind": "unknown"}
PIN = {"item": "PIN", "kind": "x"}


def trace_of(fault, path, entries, key):
    faults, by_key, links = keyed([REF, fault], entries)
    return traced(found_part(faults, by_key, links), key, path, faults)


@pytest.mark.parametrize(
    ("fault", "path", "concerns", "through", "role"),
    [
        (REF, ["REF", "C"], "item", (), None),
        (PIN, ["PIN", "ADP", "C"], "item", ("ADP",), None),
        (PIN, ["PIN", "CLV", "SET", "C"], "item", ("CLV", "SET"), None),
        ({"item": "I", "channel": "A"}, ["I:A", "readout_dut", "C"], "channel", (), "readout_dut"),
        ({"item": "I:A", "kind": "x"}, ["I:A", "C"], "item", (), None),
        ({"method": "MP v3"}, ["method:MP v3", "C"], "method", (), None),
        ({"certificate": "W-1"}, ["W-1", "WS", "C"], "certificate", ("WS",), None),
        ({"certificate": "W-1"}, ["W-1", "WS", "RIG", "C"], "certificate", ("WS", "RIG"), None),
    ],
)
def test_every_form_of_path_is_taken_apart(fault, path, concerns, through, role):
    longer = [*path, "I-1", "E"]
    entries = [entry("C", "I-1", path), entry("E", "I-2", longer)]
    trace = trace_of(fault, path, entries, 1)
    assert (trace.concerns, trace.through, trace.role) == (concerns, through, role)
    assert trace.steps == (("C", None),)
    assert trace.fault == fault
    assert trace_of(fault, longer, entries, 2).steps == (("C", "I-1"), ("E", None))


def test_what_held_an_item_further_on_is_told_with_it():
    path = ["REF", "W", "CELL", "INNER", "RIG", "K"]
    trace = trace_of(REF, path, [entry("W", "CELL", ["REF", "W"]), entry("K", "T", path)], 2)
    assert trace.steps == (("W", "CELL"), ("K", None))
    assert trace.within == (("INNER", "RIG"), ())


def test_an_item_that_bears_the_number_of_a_certificate_is_not_taken_for_it():
    # Item "W" in assembly "WS" is faulty; certificate W calibrated an item WS, too.
    fault = {"item": "W", "kind": "unknown"}
    path = ["W", "WS", "C"]
    faults, entries = [fault], {1: entry("W", "WS", ["W", "W"]), 2: entry("C", "T", path)}
    links = {
        1: [{"fault": 0, "cause": None, "names": ["W"], "use": 0}],
        2: [{"fault": 0, "cause": None, "names": ["W", "WS"], "use": 0}],
    }
    trace = traced(found_part(faults, entries, links), 2, path, faults)
    assert (trace.through, trace.steps) == (("WS",), (("C", None),))


def test_of_two_certificates_of_one_number_the_one_that_was_relied_on_is_followed():
    other = {"item": "REF2", "kind": "x"}
    faults = [REF, other]
    entries = {
        1: entry("X-1", "W1", ["REF", "X-1"]),
        2: entry("X-1", "W1", ["REF2", "X-1"]),
        3: entry("D", "T", ["REF2", "X-1", "W1", "D"]),
    }
    links = {
        1: [{"fault": 0, "cause": None, "names": ["REF"], "use": 0}],
        2: [{"fault": 1, "cause": None, "names": ["REF2"], "use": 0}],
        3: [{"fault": 1, "cause": 2, "names": ["W1"], "use": 0}],
    }
    part = found_part(faults, entries, links)
    assert traced(part, 3, ["REF2", "X-1", "W1", "D"], faults).fault == other
    assert traced(part, 3, ["REF", "X-1", "W1", "D"], faults) is None


def test_a_path_through_what_is_not_listed_is_not_taken_apart():
    entries = {2: entry("D", "T", ["REF", "W", "WS", "D"])}
    links = {2: [{"fault": 0, "cause": 1, "names": ["WS"], "use": 0}]}
    part = found_part([REF], entries, links)
    assert traced(part, 2, ["REF", "W", "WS", "D"], [REF]) is None


def test_a_chain_of_a_thousand_calibrations_is_followed_to_its_end():
    entries, links, path = {}, {}, ["REF"]
    for n in range(1, 1001):
        path += [f"C-{n}"]
        entries[n] = entry(f"C-{n}", f"I-{n}", path)
        cause, names = (None, ["REF"]) if n == 1 else (n - 1, [f"I-{n - 1}"])
        links[n] = [{"fault": 0, "cause": cause, "names": names, "use": 0}]
        path += [f"I-{n}"]
    trace = traced(found_part([REF], entries, links), 1000, path[:-1], [REF])
    assert len(trace.steps) == 1000
