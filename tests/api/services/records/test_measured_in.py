"""What several certificates were measured in, found for all of them at once."""

from __future__ import annotations

from api.services.records.measured_in import measured_in
from api.services.records.revisions import choose
from tests.flow import MEASURED, measure, recorded


def test_each_certificate_has_its_own_and_one_without_any_is_left_out(client, once, database):
    once(measure)
    day = {"performed_at": "2026-03-02"}
    titled = {"id": "UB-T", "title": "links", "run_evaluation": 1}
    recorded(client, "uncertainty-budgets", titled)
    for sent in (
        MEASURED | {"budget": "UB-T"},
        MEASURED | {"certificate": "K-2", "set_up_check": 1} | day,
        MEASURED | {"certificate": "K-3"} | day,
    ):
        recorded(client, "calibrations", sent)
    with database.read() as session:
        keys = {number: choose(session, number, "").id for number in ("K-1", "K-2", "K-3")}
        found = measured_in(session, keys.values())
    check = {"id": 1, "at": "2026-03-02T08:00:00Z", "outcome": "not_checked"}
    run = {"id": 1, "points": 3, "series": 3, "performed_at": "2026-03-02T09:00:00Z"}
    budget = {"id": "UB-T", "title": "links"}
    assert found == {
        keys["K-1"]: {"set_up_checks": [check], "run_evaluations": [run], "budgets": [budget]},
        keys["K-2"]: {"set_up_checks": [check]},
    }
