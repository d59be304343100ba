"""When a revision serves, by the instants of its issue and void.

Expected intervals are worked by hand from the rules: from (inclusive) until (exclusive), and at the
very instant of a void or an issue the new state holds (the laboratory's recall semantics, section
"what a use rested on").
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab
from sqlalchemy import select, update

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.serving import NEVER, Revision, Serves, astray, refresh, serving
from api.store.tables import Certificate, Item

DONE = 100


def revision(number=0, status="issued", issued=None, voided=None, **more):
    return Revision(number, status, DONE, issued, voided, **more)


OPEN = Serves(DONE, None)
CASES = {
    "an issued one, whatever its date of issue": ([revision(issued=140)], [OPEN]),
    "a draft": ([revision(status="draft")], [NEVER]),
    "a void with its instant": ([revision(status="voided", voided=150)], [Serves(100, 150)]),
    "a void without": ([revision(status="voided", issued=140)], [NEVER]),
    "a void at the instant of the calibration": (
        [revision(status="voided", voided=DONE)],
        [NEVER],
    ),
    "a draft that was voided": (
        [revision(status="voided", voided=150, never_issued=True)],
        [NEVER],
    ),
    "superseded by one with a date": (
        [revision(0, "superseded", 110), revision(1, issued=150)],
        [Serves(100, 150), Serves(150, None)],
    ),
    "superseded by one without": (
        [revision(0, "superseded", 110), revision(1)],
        [NEVER, OPEN],
    ),
    "superseded by what is not recorded": ([revision(0, "superseded", 110)], [NEVER]),
    "a draft changes nobody": (
        [revision(0), revision(1, "draft", 150)],
        [OPEN, NEVER],
    ),
    "the first that was issued is the first": (
        [revision(0, "draft"), revision(1, issued=150)],
        [NEVER, OPEN],
    ),
    "the last revision voided: the one before does not come back": (
        [revision(0, "superseded"), revision(1, "voided", 150, 180)],
        [Serves(100, 150), Serves(150, 180)],
    ),
    "the last revision voided at an unknown instant": (
        [revision(0, "superseded"), revision(1, "voided", 150)],
        [Serves(100, 150), NEVER],
    ),
    "voided, then revised": (
        [revision(0, "voided", voided=130), revision(1, issued=150)],
        [Serves(100, 130), Serves(150, None)],
    ),
    "superseded, then voided as well": (
        [revision(0, "voided", voided=190), revision(1, issued=150)],
        [Serves(100, 150), Serves(150, None)],
    ),
    "three, one without date": (
        [revision(0, "superseded"), revision(1, "superseded"), revision(2, issued=150)],
        [NEVER, Serves(100, 150), Serves(150, None)],
    ),
    "issued out of order: nobody serves after a later one": (
        [revision(0, "superseded"), revision(1, "superseded", 170), revision(2, issued=150)],
        [Serves(100, 150), NEVER, Serves(150, None)],
    ),
    "issued beside a void of a higher number, as before": (
        [revision(0), revision(1, "voided")],
        [OPEN, NEVER],
    ),
    "a revision of a later calibration, as before": (
        [revision(0, "superseded"), Revision(1, "issued", 160)],
        [NEVER, Serves(160, None)],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_when_each_revision_serves(case):
    revisions, expected = CASES[case]
    assert serving(revisions) == expected
    assert serving(revisions[::-1]) == expected[::-1]


def test_the_store_holds_what_the_revisions_of_each_issuer_give(database):
    made = lab(
        cal("K", "A", "01-10", [], issued_at="2025-01-12", status="superseded"),
        cal("K", "B", "01-10", [], revision=1, issued_at="2025-02-01T00:00:00Z"),
        cal("K", "C", "01-10", [], revision=2, issuer="Institute", external=True),
    )
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), 0)
    with database.write() as session:
        found = {
            (one.issuer, one.revision): (one.serves_from_us, one.serves_until_us)
            for one in session.scalars(select(Certificate))
        }
        # seconds of 2025-01-10T10:00:00Z and 2025-02-01T00:00:00Z, by `date -u -d ... +%s`
        done, issued = 1_736_503_200_000_000, 1_738_368_000_000_000
        assert found == {
            ("", 0): (done, issued),
            ("", 1): (issued, None),
            ("Institute", 2): (done, None),
        }
        assert astray(session) == []
        session.execute(update(Certificate).values(serves_until_us=7))
        assert sorted(astray(session)) == [("K", 0), ("K", 1), ("K", 2)]
        assert refresh(session, [("", "K")]) == {
            key for (key,) in session.execute(select(Item.id).where(Item.code.in_(["A", "B"])))
        }
        assert astray(session) == [("K", 2)]
