"""A wrongly recorded use, put right: the old one kept, what it rested on resolved again.

ISO/IEC 17025:2017, 7.5.2 (from memory): the original and the amended data are kept, with the date,
what was altered, and the personnel responsible.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref
from sqlalchemy import select

from api.errors import InvalidRecord, UnknownReference
from api.schemas.certificates import UseCorrectionSchema
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.base.recording import begin
from api.services.certificates.use_corrections import correct, corrections
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.services.recalls.rechecking import recheck
from api.services.recalls.staleness import staleness
from api.services.records.revisions import choose
from api.services.upkeep import journal
from api.store.journal import Author
from api.store.record_changes import position
from api.store.tables import Certificate, Item, Usage

NOW = 1_893_456_000_000_000  # 2030
LABORATORY = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("G-1", "GOOD", "01-05", [ref("ROOT")]),
    cal("C-1", "A", "04-01", [ref("WS", "0.50", note="left side"), ref("GOOD")]),
    cal("D-1", "D", "05-01", [ref("A")]),
)


@pytest.fixture
def filled(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
    return database


def mend(database, position, use=None, number="C-1"):
    body = {"by": "M. Tarn", "reason": "the work sheet says so", "use": use}
    with database.write(Author("correct a use")) as session:
        correction = UseCorrectionSchema().load(body)
        correct(begin(session, NOW), choose(session, number), position, correction)


def used(database, number="C-1"):
    """Item and certificate then in force of each use, by position."""
    source = Certificate.__table__.alias()
    with database.read() as session:
        rows = session.execute(
            select(Usage.position, Item.code, source.c.number)
            .join(Item, Item.id == Usage.item_id)
            .join(Certificate, Certificate.id == Usage.certificate_id)
            .outerjoin(source, source.c.id == Usage.source_id)
            .where(Certificate.number == number)
            .order_by(Usage.position)
        )
        return [tuple(row) for row in rows]


def kept(database):
    with database.read() as session:
        return corrections(session, choose(session, "C-1").id)


def test_the_new_use_takes_its_place_and_the_old_one_stays_readable(filled):
    mend(filled, 0, ref("GOOD", "0.5"))
    assert used(filled) == [(0, "GOOD", "G-1"), (1, "GOOD", "G-1")]
    (one,) = kept(filled)
    assert one["before"] == {"item": "WS", "role": "force_reference", "weight": "0.50",
                             "note": "left side"}  # fmt: skip
    assert one["after"] == {"item": "GOOD", "role": "force_reference", "weight": "0.5"}
    assert (one["position"], one["by"], one["reason"], one["at"]) == (
        *(0, "M. Tarn", "the work sheet says so", "2030-01-01T00:00:00Z"),
    )


def test_what_the_certificate_states_does_not_change(filled):
    def stated():
        with filled.read() as session:
            found = choose(session, "C-1")
            return found.content_hash, found.revision, found.status, found.issued_at

    before = stated()
    mend(filled, 0, ref("GOOD"))
    assert stated() == before


def test_a_use_that_was_none_is_taken_out(filled):
    mend(filled, 0)
    assert used(filled) == [(1, "GOOD", "G-1")]
    (removed,) = kept(filled)
    assert (removed["before"]["item"], removed["after"]) == ("WS", None)


def test_a_gap_that_a_correction_opens_or_closes_is_known_of(filled):
    def roles():
        with filled.read() as session:
            return choose(session, "C-1").roles

    mend(filled, 0, {"item": "WS", "role": "adapter"})
    assert "adapter" in roles()
    mend(filled, 0, ref("WS"))
    assert "adapter" not in roles()
    assert "force_reference" in roles()


def test_a_recall_that_it_changes_is_marked_in_the_same_step(filled):
    with filled.write() as session:
        request = RecallRequestSchema().load({"fault": force_fault("REF")})
        recalls.store(session, run.recall(session, request, NOW), None, NOW, position(session))
    mend(filled, 0, ref("GOOD"))
    with filled.read() as session:
        shown = staleness(session, 1)
    assert shown["stale"] == "checking"
    assert "C-1" in shown["staleness"]["checking"]["cause"]
    assert recheck(filled, 1, lambda: NOW) is True
    with filled.read() as session:
        flag = staleness(session, 1)["staleness"]
    # Nothing leads from REF to C-1 now, nor from there to D-1.
    removed = flag["differences"]["removed"]["certificates"]
    assert [one["certificate"] for one in removed] == ["C-1", "D-1"]


def test_the_journal_names_who_corrected_what_and_why(filled):
    mend(filled, 0, ref("GOOD"))
    with filled.read() as session:
        (line,), _ = journal.find(session, {"person": "M. Tarn"}, None, 10)
    (fact,) = line["facts"]
    assert (fact["what"], fact["certificate"], fact["position"], fact["reason"]) == (
        *("use corrected", "C-1", 0, "the work sheet says so"),
    )


@pytest.mark.parametrize(
    ("position", "use", "kind", "place"),
    [
        (7, None, InvalidRecord, "/position"),
        (0, ref("NOBODY"), UnknownReference, "/use/item"),
        (0, ref("WS", {"9": "1"}), InvalidRecord, "/use/weight"),
        (0, ref("WS", points=[9]), InvalidRecord, "/use/points"),
        (0, ref("WS", certificate="W-9"), InvalidRecord, "/use/certificate"),
        (0, ref("WS", certificate="W-1", revision=3), InvalidRecord, "/use/certificate"),
        # D-1 was calibrated with A in May: A of April cannot rest on it.
        (0, ref("D", performed_at="2025-06-01T00:00:00Z"), InvalidRecord, ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(filled, position, use, kind, place):
    before = used(filled)
    with pytest.raises(kind) as refused:
        mend(filled, position, use)
    assert {issue.pointer for issue in refused.value.issues} == {place}
    assert all(issue.remedy for issue in refused.value.issues)
    assert used(filled) == before
    assert kept(filled) == []
