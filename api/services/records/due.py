"""Was a value used after it was due? The one rule for certificates, chains, set-ups and alerts.

Due is the value in force at the use, or the one that the use names; of an assembly without a value
of its own those of its measuring parts. A later calibration that only confirmed limits assigns no
value and does not extend the date. `due_us` is the end of a bare date in the zone of the
laboratory, and the instant itself is in time.
"""

from __future__ import annotations


def overdue(due_us: int | None, used_us: int) -> bool:
    """Say whether a value was due before it was used; one without a date never is.

    >>> overdue(10, 10), overdue(10, 11), overdue(None, 11)
    (False, True, False)
    """
    return due_us is not None and due_us < used_us


# The same as SQL, of the certificate of the value and the use; one without a date is left out.
OVERDUE = "value.due_us < usage.used_us"
