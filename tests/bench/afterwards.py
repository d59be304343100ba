"""What must be true of the store after clients worked on it, whatever was killed meanwhile."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator

import sqlalchemy as sa

from api.services.recalls.rechecking import recheck_marked
from api.services.upkeep.verification import verify
from api.store.database import Database
from api.store.tables import Certificate, Item, Recall, Result, StoredDecision, Usage
from tests.bench.workload import Told

# Worked out anew, the newest first: all of a short run.
MOST_RECALLS = 60
WHOLE = {"items": 2, "certificates": 3, "uses": 3, "results": 3}


def faults(database: Database, told: Told) -> Iterator[str]:
    """Yield whatever was lost, is there twice or in part, or does not verify."""
    # What the servers had not come to; then each recall must say exactly what a fresh one shows.
    for key, flag in recheck_marked(database, lambda: time.time_ns() // 1000):
        if flag is None:
            yield f"recall {key} waits though nobody writes"
    with database.read() as session:
        for finding in verify(session, MOST_RECALLS).findings:
            yield f"verify: {finding}"
        stored = Counter(
            request["value"] for request in session.scalars(sa.select(StoredDecision.request))
        )
        ids = set(session.scalars(sa.select(StoredDecision.id)))
        yield from (f"decision {value} is there {n} times" for value, n in stored.items() if n > 1)
        for value, key in told.decisions.items():
            if stored[value] != 1 or key not in ids:
                yield f"decision {value} was acknowledged as {key} and is not there"
        laboratories = _laboratories(session)
        for name in told.laboratories - laboratories.keys():
            yield f"laboratory {name} was acknowledged and is not there"
        for name, counts in laboratories.items():
            if dict(counts) != WHOLE:
                yield f"laboratory {name} is there in part: {dict(counts)}"
        recalls = dict(session.execute(sa.select(Recall.id, Recall.result_hash)).all())
        for key, answered in told.recalls.items():
            if recalls.get(key) != answered:
                yield f"recall {key} is lost, or another than was answered"
        if len(recalls) != len(set(session.scalars(sa.select(Recall.number)))):
            yield "two recalls have one number"
        yield from _changes(session, told)


def _laboratories(session: sa.orm.Session) -> dict[str, Counter[str]]:
    """How much of each laboratory is there; its name is what stands before the first dash."""
    found: dict[str, Counter[str]] = {}
    one = sa.select(Certificate.number).select_from(Certificate)
    asked = {
        "items": sa.select(Item.code).where(~Item.code.startswith("SHARED")),
        "certificates": one,
        "uses": one.join(Usage, Usage.certificate_id == Certificate.id),
        "results": one.join(Result, Result.certificate_id == Certificate.id),
    }
    for what, statement in asked.items():
        for code in session.scalars(statement):
            found.setdefault(code.partition("-")[0], Counter())[what] += 1
    return found


def _changes(session: sa.orm.Session, told: Told) -> Iterator[str]:
    """No change was lost: the count is what was acknowledged, but for those nobody heard of."""
    shared = sa.select(Item.code, Item.properties).where(
        Item.code.startswith("SHARED"), Item.properties.is_not(None)
    )
    for code, properties in session.execute(shared):
        sure, unsure = told.changes[code], told.unsure_changes[code]
        if not sure <= int(properties["count"]) <= sure + unsure:
            yield f"{code} counts {properties['count']}, {sure} changes were acknowledged"
