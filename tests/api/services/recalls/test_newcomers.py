"""The usual write is compared by itself; whatever could do more takes a whole recall.

Each case is compared with a whole recall as well, which must agree.
"""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, answered, cal, lab, ref
from sqlalchemy import select

from api.services.recalls.newcomers import nothing_new
from api.services.recalls.rechecking import worked_out
from api.store.record_watch import RecallWatch
from api.store.tables import Recall

NOW = 1_893_456_000_000_000


def judged(database):
    with database.read() as session:
        state, stored = session.get_one(RecallWatch, 1), session.get_one(Recall, 1)
        alone = nothing_new(session, state, stored, NOW)
        exact = worked_out(session, 1, NOW)
        changed = bool(exact.elsewhere) or "windows" in exact.differences
        assert not (alone and changed)
        assert session.scalars(select(Recall.id)).all() == [1]
        return alone, changed


def check(**more):
    return {"id": "K", "item": "X", "at": "2025-01-05", "result": "pass"} | more


CASES = {
    # written, decided by the newcomers alone, changed at all
    "through a sound standard": ([cal("Z-1", "X", "05-01", [ref("GOOD")])], True, False),
    "before the window, of a listed standard": (
        [cal("Z-1", "X", "01-01", [ref("WS")])],
        True,
        False,
    ),
    "names no reference, in the window": ([cal("Z-1", "X", "05-01", [])], False, True),
    "names no reference, before the window": (
        [cal("Z-1", "X", "2024-05-01T10:00:00Z", [])],
        True,
        False,
    ),
    "external, names no reference": (
        [cal("Z-1", "X", "05-01", [], external=True, issuer="Other")],
        True,
        False,
    ),
    "rests on what is listed": ([cal("Z-1", "X", "05-01", [ref("WS")])], False, True),
    "used the faulty item outside its window": (
        [cal("Z-1", "X", "2024-05-01T10:00:00Z", [ref("REF")])],
        False,
        False,
    ),
    "of an item that somebody rests on": ([cal("Z-1", "WS", "05-01", [ref("GOOD")])], False, False),
    "two, one resting on the other": (
        [cal("Z-1", "X", "05-01", [ref("GOOD")]), cal("Z-2", "Y", "05-02", [ref("X")])],
        False,
        False,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_new_certificates_are_judged_alone_where_nobody_rests_on_their_items(
    recalled, database, case
):
    written, alone, changed = CASES[case]
    recalled.record(*written)
    assert judged(database) == (alone, changed)


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/v1/checks", check()),
        ("/v1/compositions", {"assembly": "Y", "part": "X", "from": "2025-01-01"}),
        ("/v1/certificates/G-1/void", {"reason": "wrong sheet"}),
    ],
)
def test_anything_else_takes_a_whole_recall(recalled, database, path, body):
    recalled.record(cal("Z-1", "X", "05-01", [ref("GOOD")]))
    assert judged(database)[0] is True
    recalled.post(path, body)
    assert judged(database)[0] is False


def test_which_roles_a_channel_ever_had_is_asked_of_all_records(client, database, recheck):
    # Channel 1 only ever served as readout_reference; W-1, on which Z-1 rests, names channel 2 as
    # readout_dut, and so nothing in that role.
    def on(channel, role):
        return {"item": "RO", "role": role, "channel": channel}

    first = cal("C-1", "Y", "03-01", [on("CH1", "readout_reference")])
    of_ws = cal("W-1", "WS", "03-02", [on("CH2", "readout_dut")])
    made = lab(first, of_ws, kinds={"RO": "readout", "X": "customer_instrument"})
    assert client.post("/v1/imports", json=made).status_code == 201
    fault = {"item": "RO", "channel": "CH1", "kind": "unknown", **OPEN}
    fault["isolated_at"] = "2025-04-01T00:00:00Z"
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
    recheck()
    late = answered(cal("Z-1", "X", "05-01", [ref("WS")]))
    assert client.post("/v1/calibrations", json=late).status_code == 201
    assert judged(database) == (False, True)


def test_a_window_that_needs_all_forces_takes_a_whole_recall(recalled, database, recheck):
    # The check covers 10 kN; whether that is in the used range only the uses of REF can tell.
    points = {"covers": ["10 kN"], "acceptance_limit_rel": "0.0001", "U_rel": "0.0001"}
    recalled.post("/v1/checks", check(item="REF", independent=True, **points))
    recheck()
    recalled.record(cal("Z-1", "X", "05-01", [ref("GOOD")]))
    assert judged(database) == (False, True)
