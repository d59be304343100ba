"""Are the alerts those of the records? Every one derived anew and compared with what is stored.

Records that the alerts do not know yet, because they are older than the alerts or were written past
the application, are read with the next write, or by `tracehold migrate`; until then nothing is
compared.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.alerts.failures import Name
from api.services.alerts.lapsing import lapsed
from api.services.alerts.raising import derived, is_up_to_date
from api.services.alerts.states import ENDED
from api.store.alerts import Alert

_COMPARED = (
    *("certificate_id", "check_id", "at", "at_us", "until", "until_us"),
    *("good_before", "followed"),
)


def astray(session: Session) -> Iterator[tuple[str, str]]:
    """Yield what is wrong: which alert, or which item has a failure without one, and what."""
    if not is_up_to_date(session):
        return
    expected = derived(session)
    for alert in session.scalars(select(Alert).order_by(Alert.id)):
        name = Name(alert.item_id, alert.kind, alert.cause)
        failure = expected.pop(name, None)
        if failure is None:
            if alert.state != ENDED:
                yield f"alert {alert.id}", "it is not ended, and the records show no such failure"
        elif alert.state == ENDED:
            yield f"alert {alert.id}", "it is ended, and the records show the failure"
        elif wrong := [n for n in _COMPARED if getattr(alert, n) != getattr(failure, n)]:
            yield f"alert {alert.id}", f"it says other than the records: {', '.join(wrong)}"
    for alert, why in lapsed(session):
        yield f"alert {alert.id}", f"it is answered, and its answer does not hold: {why}"
    for name in sorted(expected):
        yield f"item {name.item}", f"a failure without its alert: {name.kind} {name.cause}"
