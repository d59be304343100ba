"""What speaks against issuing a certificate: every question asked, of certificates as recorded.

A question takes `Candidates`, certificates by key in the open transaction with all that they rested
on, and yields (key, finding). A new one is added to `QUESTIONS`; its findings are refused, kept and
shown like the others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.grounds.candidates import Candidates
from api.services.grounds.doubts import doubt_findings
from api.services.grounds.failures import failure_findings
from api.services.grounds.figures import figure_findings
from api.services.grounds.finding import STOP, Finding
from api.services.grounds.fitness import (
    cycle_findings,
    isolated_findings,
    pairing_findings,
    setup_findings,
)
from api.services.grounds.ranges import range_findings, uncertainty_findings
from api.services.grounds.values import Found, value_findings

QUESTIONS: tuple[Callable[[Candidates], Found], ...] = (
    doubt_findings,
    isolated_findings,
    value_findings,
    failure_findings,
    range_findings,
    uncertainty_findings,
    figure_findings,
    pairing_findings,
    setup_findings,
    cycle_findings,
)


def grounds(
    session: Session, as_of: Mapping[int, int], issued: Mapping[int, int] | None = None
) -> dict[int, list[Finding]]:
    """Return what speaks against certificates, stops first.

    Parameters
    ----------
    session : Session
        The open transaction; the certificates are flushed and what was in force is resolved.
    as_of : mapping of int to int
        Keys of certificates, and for each the instant at which it is asked, in microseconds since
        1970: its issue, or now. What happened later is not held against it.
    issued : mapping of int to int, optional
        The instant of its issue where that is not `as_of`: what was voided by then does not hold.
    """
    asked = Candidates(session, as_of, as_of if issued is None else issued)
    found: dict[int, list[Finding]] = {key: [] for key in as_of}
    for question in QUESTIONS:
        for key, finding in question(asked):
            found[key].append(finding)
    for some in found.values():
        some.sort(key=_place)
    return found


def _place(one: Finding) -> tuple[bool, str, str, str, str, str]:
    """Stops first; else an order that does not depend on that of the records."""
    return (
        one.weight != STOP,
        one.code,
        one.item or "",
        one.point or "",
        one.stage or "",
        one.detail,
    )


def shown(finding: Finding) -> Record:
    """Return a finding as the API shows it."""
    return {name: value for name, value in finding._asdict().items() if value is not None}
