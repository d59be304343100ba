"""When a revision serves, by the instants of its issue and void.

Expected intervals are worked by hand from the rules: from (inclusive) until (exclusive), and at the
very instant of a void or an issue the new state holds (the laboratory's recall semantics, section
"what a use rested on").
"""

from __future__ import annotations

from oracle_cases import cal, lab
from sqlalchemy import select, update

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.serving import astray, refresh
from api.store.tables import Certificate, Item


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
