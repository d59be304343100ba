"""What the alerts say is held against the records."""

from __future__ import annotations

import sqlalchemy as sa
from oracle_cases import cal, ref

from api.services.alerts import standing
from api.store.alerts import Alert
from tests.api.services.alerts.alert_laboratory import check


def test_what_the_alerts_say_is_verified_against_the_records(laboratory, database):
    laboratory.brings(cal("C-1", "I-1", "03-10", [ref("STD")]), checks=[check("K-1")])
    with database.read() as session:
        assert list(standing.astray(session)) == []
    with database.write() as session:
        session.execute(sa.update(Alert).where(Alert.kind == "check").values(state="ended"))
        session.execute(sa.update(Alert).where(Alert.kind == "overdue_use").values(cause="[]"))
    with database.read() as session:
        said = [detail for _, detail in standing.astray(session)]
    assert len(said) == 3
    assert "it is ended, and the records show the failure" in said
