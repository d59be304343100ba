"""Which certificates could be affected, at once: the first list, before any effect is calculated.

It names every issued certificate that holds a suspect use or could rest on one, so that work can
be stopped while the complete recall, which judges each of them, is still being made. What that
recall calls affected or indeterminate is in it; some that it clears, or finds without effect, are
in it too. What the records cannot exclude (`api.services.gaps`) is not.
"""

from __future__ import annotations

from api.services import questions
from api.services.loaded import Record
from api.services.tracing import Traced
from api.store.records import HeadRow
from api.store.sources import Source
from graph.moments import text_of

MEANING = (
    "These certificates could be affected. Effects and verdicts are not judged yet: the complete "
    "recall may clear some of them, and lists beside them those that the records cannot exclude."
)


def first_list(source: Source, request: Record, now_us: int) -> Record:
    """Return the windows and, by number and revision, the issued certificates that are reached.

    Raises as `questions.asked` does.
    """
    asked = questions.asked(source, request, now_us)
    gathered = questions.gather(source, asked.reported, Traced(source, asked.methods))
    rows = [row for row in source.heads(sorted(gathered.reached)) if row.status == "issued"]
    rows.sort(key=lambda row: (row.number, row.revision, row.issuer))
    items = source.item_words(sorted({row.item_id for row in rows}))
    customers = source.customer_names(
        {row.customer_id for row in rows if row.customer_id is not None}
    )
    windows = gathered.windows
    return {
        "as_of": text_of(now_us if asked.as_of_us is None else asked.as_of_us),
        "meaning": MEANING,
        **({"window": windows[0]} if len(windows) == 1 else {"windows": windows}),
        "notes": gathered.notes,
        "count": len(rows),
        "certificates": [
            _entry(row, items[row.item_id][0], customers.get(row.customer_id or 0)) for row in rows
        ],
    }


def _entry(row: HeadRow, item: str, customer: str | None) -> Record:
    made: Record = {"certificate": row.number, "revision": row.revision, "item": item}
    if customer is not None:
        made["customer"] = customer
    if row.external:
        made |= {"external": True, "issuer": row.issuer or None}
    made["performed_at"] = row.performed_at
    return made
