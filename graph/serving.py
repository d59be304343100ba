"""When the value of each revision of a certificate serves uses: derived from all of its number.

A use rests on what was in force when it happened, whatever became of the certificate later. So a
certificate that was issued serves until the instant of its void, and an amended one until its next
revision was issued. Both instants are the first of the new state: an interval runs from its
beginning (inclusive) until its end (exclusive).

Choice, where the records leave it open: the first revision that was ever issued serves from the
calibration on, since its value was used before the paper was out; a revision which one without date
of issue replaced never serves by date, as if the later one had always been there; a revision that
is issued today is ended by no other; a draft, voided as one too, serves nobody.

Not decided here: which of several certificates of an item counts (`graph.in_force`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


class Revision(NamedTuple):
    """What of one revision decides when it serves; instants in microseconds, None: not recorded."""

    revision: int
    status: str
    performed_us: int
    issued_us: int | None = None
    voided_us: int | None = None
    never_issued: bool = False


class Serves(NamedTuple):
    """From (inclusive; None: never) until (exclusive; None: open), in microseconds."""

    from_us: int | None
    until_us: int | None


NEVER = Serves(None, None)


def serving(revisions: Sequence[Revision]) -> list[Serves]:
    """Return when each revision of one certificate serves, in the order given.

    Parameters
    ----------
    revisions : sequence of Revision
        All revisions of one number of one issuer; each number of a revision once.

    Examples
    --------
    >>> first = Revision(0, "superseded", performed_us=10)
    >>> serving([first, Revision(1, "issued", performed_us=10, issued_us=50)])
    [Serves(from_us=10, until_us=50), Serves(from_us=50, until_us=None)]
    """
    issued = sorted(
        (one for one in revisions if one.status != "draft" and not one.never_issued),
        key=lambda one: one.revision,
    )
    found = {
        one.revision: _serves(one, issued[place + 1 :], first=place == 0)
        for place, one in enumerate(issued)
    }
    return [found.get(one.revision, NEVER) for one in revisions]


def _serves(one: Revision, later: Sequence[Revision], *, first: bool) -> Serves:
    begins = one.performed_us if first or one.issued_us is None else one.issued_us
    if one.status == "issued":
        return Serves(begins, None)
    ends = [] if one.voided_us is None else [one.voided_us]
    if one.status == "voided" and not ends:
        return NEVER
    if one.status == "superseded" and not later:
        return NEVER
    if later and later[0].issued_us is None:
        return NEVER
    ends += [other.issued_us for other in later if other.issued_us is not None]
    until = min(ends)
    return Serves(begins, until) if begins < until else NEVER
