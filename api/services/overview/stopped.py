"""Which issued certificates would be stopped today? So many of them are looked at in one go.

What speaks against a certificate follows from all records around it, and another write may change
it from afar, so that nothing of it is stored. Choice: a page looks at a bounded number of issued
certificates, the latest recorded first, and says how far it came; it may be short, or empty, while
there is more to look at. So no question takes longer in a larger laboratory.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.certificates.certificates import heads, matching
from api.services.grounds.finding import STOP
from api.services.grounds.grounds import grounds, shown
from api.store.paging import KeyValues, page
from api.store.tables import Certificate

# Looked at in one go: at about three thousandths of a second of a processor for each (measured with
# 10,000 certificates and 5 recalls on SQLite), less than a second.
MOST_LOOKED_AT = 200


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int, now_us: int
) -> tuple[list[Record], KeyValues | None]:
    """Return those with stops of the next certificates that pass filters, each with its `stops`.

    The latest recorded come first. The key is that of the last one looked at; None at the end.
    """
    statement = matching(select(Certificate), filters).where(Certificate.status == "issued")
    rows, key = page(session, statement, [Certificate.id], after, MOST_LOOKED_AT, descending=True)
    looked_at = [row[0] for row in rows]
    today = grounds(session, {one.id: now_us for one in looked_at})
    stops = {
        one: [shown(finding) for finding in today[one.id] if finding.weight == STOP]
        for one in looked_at
    }
    stopped = [one for one in looked_at if stops[one]]
    if len(stopped) > limit:
        del stopped[limit:]
        key = (stopped[-1].id,)
    found = zip(heads(session, stopped), stopped, strict=True)
    return [head | {"stops": stops[one]} for head, one in found], key
