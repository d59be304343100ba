"""The certificates of a number, as the database holds them; to a customer only its own exist."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab

from api.errors import Conflict, NotFound
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.records.revisions import choose, revisions

LABORATORY = lab(
    cal("N-1", "A", "02-01", [], status="superseded", customer="Alder Rigging"),
    cal("N-1", "A", "02-01", [], revision=1, customer="Mine Works"),
    cal("N-1", "A", "02-01", [], revision=2, status="draft", customer="Mine Works"),
    cal("N-1", "B", "03-01", [], external=True, issuer="Outer Lab"),
    cal("X-1", "B", "04-01", [], external=True, issuer="Outer Lab"),
    cal("X-2", "B", "05-01", [], external=True, issuer="Outer Lab"),
    cal("X-2", "B", "05-02", [], external=True, issuer="Other Lab"),
)


@pytest.fixture
def session(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield session


def test_revisions_are_the_laboratorys_own_newest_first(session):
    assert [one.revision for one in revisions(session, "N-1")] == [2, 1, 0]
    (outer,) = revisions(session, "N-1", "Outer Lab")
    assert outer.issuer == "Outer Lab"
    assert [one.issuer for one in revisions(session, "X-1")] == ["Outer Lab"]
    with pytest.raises(Conflict):
        revisions(session, "X-2")


def test_the_issued_revision_is_chosen_unless_another_is_asked_for(session):
    assert choose(session, "N-1").revision == 1
    assert choose(session, "N-1", revision=2).status == "draft"
    assert choose(session, "X-2", "Other Lab").performed_at == "2025-05-02T10:00:00Z"
    with pytest.raises(NotFound):
        choose(session, "N-1", revision=3)


def test_of_an_owner_only_its_own_revisions_exist(session):
    assert [one.revision for one in revisions(session, "N-1", owner="Alder Rigging")] == [0]
    assert choose(session, "N-1", owner="Alder Rigging").revision == 0
    with pytest.raises(NotFound):
        choose(session, "N-1", revision=1, owner="Alder Rigging")
    for owner in ("Nobody", ""):
        with pytest.raises(NotFound):
            revisions(session, "N-1", owner=owner)
    with pytest.raises(NotFound):
        revisions(session, "X-1", owner="Mine Works")
