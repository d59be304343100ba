"""The database and a snapshot answer each question alike, one by one."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, percent, ref

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.reading import SessionReader
from api.store.snapshot import Snapshot
from api.store.snapshot_files import write
from api.store.sources import Recorded

KEYS = (1, 2, 3, 4, 5, 99)
END_US = 1_893_456_000_000_000


@pytest.fixture
def two(database, tmp_path):
    """The records of a small laboratory, from a session and from a snapshot of it."""
    checked = cal("K-1", "WS", "02-10", [ref("REF")], assigns_value=False)
    made = lab(
        cal("R-1", "REF", "01-05", [], external=True, issuer="Institute"),
        cal("W-1", "WS", "01-10", [ref("REF")]),
        checked,
        cal("C-1", "A", "03-01", [ref("WS", "0.50"), ref("ADP", role="adapter")], [percent("0.1")]),
        cal("C-2", "B", "04-01", [ref("WS")], customer="Mine Works", method="M 7"),
        cal("C-3", "WS", "04-02", [], mode="tension", status="voided", voided_at="2025-05-01"),
        cal("C-3", "WS", "04-02", [], revision=1, status="draft"),
        composition=[
            {"assembly": "ADP", "part": "A", "from": "2025-06-01"},
            {"assembly": "B", "part": "WS", "from": "2025-01-01", "share": "0.50"},
        ],
        checks=[
            {
                "id": "K-2",
                "item": "REF",
                "at": "2025-02-02",
                "result": "pass",
                "mode": "tension",
                "covers": ["10 kN"],
            },
            {"id": "K-3", "item": "WS", "at": "2025-02-03", "result": "fail", "against": "REF"},
        ],
    )
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), 0)
    with database.read() as session:
        write(session, tmp_path / "s", {"time_zone": Recorded(SessionReader(session)).time_zone()})
        yield Recorded(SessionReader(session)), Snapshot(tmp_path / "s")


QUESTIONS = {
    "time zone": lambda s: s.time_zone(),
    "item": lambda s: [s.item(code) for code in ("REF", "PIN", "NONE")],
    "item keys": lambda s: s.item_keys(["REF", "A", "NONE"]),
    "item words": lambda s: s.item_words(KEYS),
    "customer names": lambda s: s.customer_names(KEYS),
    "rules": lambda s: sorted(s.rules(KEYS)),
    "holdings": lambda s: [s.holdings_of(parts) for parts in (["A"], ["ADP", "NONE"])],
    "holdings in": lambda s: [s.holdings_in(held) for held in (["B"], ["ADP", "NONE"])],
    "curves": lambda s: s.curves(KEYS),
    "servings": lambda s: sorted(s.servings_of(KEYS)),
    "ambiguous items": lambda s: s.ambiguous_items(KEYS),
    "checks": lambda s: [s.checks_of(key) for key in KEYS],
    "recalibrations": lambda s: [
        sorted(s.recalibrations(key, *window))
        for key in KEYS
        for window in ((None, None), (0, END_US))
    ],
    "numbered": lambda s: [s.numbered(number) for number in ("C-1", "R-1", "NONE")],
    "certificates": lambda s: sorted(s.certificates(KEYS)),
    "heads": lambda s: sorted(s.heads(KEYS)),
    "uses": lambda s: sorted(s.uses(KEYS), key=lambda use: use[:2]),
    "results": lambda s: sorted(s.results(KEYS), key=lambda result: result[:2]),
    "users of items": lambda s: [s.users_of_items([key]) for key in KEYS],
    "users of a certificate": lambda s: [s.users_of_certificate(key) for key in KEYS],
    "method": lambda s: [s.certificates_by_method(name) for name in ("M 7", "NONE")],
    "roles": lambda s: [s.roles_of([key]) for key in KEYS],
    "lacking roles": lambda s: [
        sorted(s.lacking_roles(roles, window))
        for roles in (["adapter"], ["force_reference"], ["adapter", "force_reference"])
        for window in ((None, None), (0, END_US), (END_US, None), (None, 0))
    ],
    "downward": lambda s: [s.everything_downward([key]) for key in KEYS],
    "upward": lambda s: [s.items_upward([key]) for key in KEYS],
    "in force": lambda s: [s.certificate_in_force(key, at) for key in KEYS for at in (0, END_US)],
}


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_question_has_one_answer(two, question):
    recorded, snapshot = (QUESTIONS[question](one) for one in two)
    assert snapshot == recorded
    assert question == "time zone" or any(recorded)
