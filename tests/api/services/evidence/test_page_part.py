"""Which part of a recall a page draws: so many of each generation, nothing lost from the count."""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref, row
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.evidence import page_part
from api.services.evidence.page_part import MOST_DRAWN, drawn_part
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.store.record_changes import position
from api.store.tables import Certificate

LATER = 1_893_456_000_000_000  # 2030
# Generation 1: W-1 and twenty-nine others; of these B-07 alone comes to fail: -0.008 is the last
# error that passes (T 0.01, U 0.002), and 0.0005 x 10 kN = 0.005 off -0.004 is -0.009.
# Generation 2: C-1 by W-1. Nobody but Z-1, the last of all, leads on to generation 3.
FIRST = [
    cal(f"B-{n:02}", f"I-{n:02}", "02-01", [ref("PIN")], [row("10", "-0.004" if n == 7 else "0")])
    for n in range(29)
]
LABORATORY = lab(
    cal("W-1", "WS", "02-02", [ref("ADP")]),
    *FIRST,
    cal("C-1", "A", "03-01", [ref("WS")]),
    cal("D-1", "D", "04-01", [ref("A")]),
    composition=[{"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}],
)
GENERATIONS = {1: 30, 2: 1, 3: 1}


@pytest.fixture
def drawn(database):
    """Store the recall of PIN, and draw it with a certificate chosen or none."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        request = RecallRequestSchema().load({"fault": force_fault("PIN")})
        answer = run.recall(session, request, LATER)
        stored = recalls.get(
            session, recalls.store(session, answer, None, LATER, position(session))["id"]
        )
        numbers = dict(session.execute(select(Certificate.number, Certificate.id)).all())
        yield lambda chosen=None: drawn_part(session, stored, numbers.get(chosen))


def named(part, generation):
    return {one.label for one in part.generations[generation - 1].named}


def test_each_generation_is_bounded_and_what_is_not_drawn_is_counted(drawn):
    part = drawn()
    assert {one.number: one.total for one in part.generations} == GENERATIONS
    assert [len(one.named) for one in part.generations] == [MOST_DRAWN, 1, 1]
    # 30 - 24, all of them affected without a change of verdict.
    assert part.not_drawn == 6
    assert part.generations[0].rest == {("affected", False): 6}
    assert [one.changes for one in part.generations] == [1, 0, 0]


def test_what_changes_is_drawn_and_what_leads_to_drawn_ones_further_on(drawn, monkeypatch):
    monkeypatch.setattr(page_part, "MOST_DRAWN", 2)
    monkeypatch.setattr(page_part, "OWN_MERIT", 1)
    assert named(drawn(), 1) == {"B-07", "W-1"}


def test_a_certificate_that_is_chosen_is_drawn_with_everything_on_its_way(drawn, monkeypatch):
    assert drawn().lit == set()
    monkeypatch.setattr(page_part, "MOST_DRAWN", 1)
    part = drawn("D-1")
    assert {part.known[key].label for key in part.lit} == {"D-1", "C-1", "W-1"}
    assert [named(part, n) for n in (1, 2, 3)] == [{"W-1"}, {"C-1"}, {"D-1"}]
    # 28 that stay and the one that changes: the chosen way goes first.
    assert part.generations[0].rest == {("affected", False): 28, ("affected", True): 1}


def test_a_certificate_knows_what_leads_to_it_and_where_it_met_the_fault(drawn):
    part = drawn("D-1")
    labels = {key: one.label for key, one in part.known.items()}
    causes = {labels[key]: {labels[one] for one in found} for key, found in part.causes.items()
              if key in labels}  # fmt: skip
    assert causes["D-1"] == {"C-1"}
    assert causes["C-1"] == {"W-1"}
    assert causes["W-1"] == set()
    origins = {labels[key]: found for key, found in part.origins.items() if key in labels}
    assert origins["W-1"] == {("PIN", "ADP")}
    assert origins["D-1"] == set()
