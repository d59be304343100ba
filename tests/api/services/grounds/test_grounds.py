"""Findings of several certificates at once are those of each alone."""

from __future__ import annotations

import sqlalchemy as sa
from oracle_cases import ref, row

from api.services.grounds.grounds import grounds
from api.store.tables import Certificate
from tests.api.services.grounds.conftest import candidate

ASKED = {"applies_to": {"item": "CELL"}, "pin": {"diameter": "45 mm"}}


def test_stops_come_first_and_many_are_asked_like_one(bench, database):
    bench.post("/v1/items", {"id": "CELL", "kind": "customer_instrument"})
    bench.post("/v1/requirements", {"id": "Q", "source": "manual"} | ASKED)
    bench.imported(
        candidate(ref("BARE")),
        candidate(number="N-2", results=[row(applied="150", U="1")]),
        checks=[{"id": "K", "item": "REF", "at": "2025-01-20", "result": "fail"}],
    )
    with database.read() as session:
        keys = session.scalars(sa.select(Certificate.id)).all()
        asked = dict.fromkeys(keys, 2**62)
        together = grounds(session, asked)
        assert together == {key: grounds(session, {key: 2**62})[key] for key in keys}
        named = dict(session.execute(sa.select(Certificate.number, Certificate.id)).all())
    codes = {number: [one.code for one in together[key]] for number, key in named.items()}
    assert codes == {
        "E-1": [],
        "W-1": ["failed_check"],
        "N-1": ["no_value", "setup"],
        "N-2": ["outside_range", "setup"],
    }
