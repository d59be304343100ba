"""The chain of a certificate with all its breaks: what was recorded, and what speaks against it.

To the breaks that the records of each link show (``api.services.records.chains``) come those that
take a judgement: a link that is recalled or under review, a force outside the calibrated range, a
failed check. The certificate itself is asked too.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.grounds.candidates import Candidates
from api.services.grounds.failures import failure_findings
from api.services.grounds.finding import STOP
from api.services.grounds.ranges import range_findings
from api.services.recalls.recall_states import NONE, RECALLED, recall_states
from api.services.records import chains
from api.store.grounds import CertificateGrounds
from api.store.tables import Certificate

NEVER_US = 2**62


def chain(session: Session, certificate: Certificate) -> Record:
    """Return every link above a certificate, the roots it ends at, the breaks, and its override."""
    found, keys = chains.walked(session, certificate)
    found["breaks"] = [*found["breaks"], *_judged(session, keys)]
    found["unbroken"] = not found["breaks"]
    row = session.get(CertificateGrounds, certificate.id)
    if row is not None and row.override is not None:
        found["override"] = row.override
    return found


def _judged(session: Session, keys: set[int]) -> Iterator[Record]:
    ever = dict.fromkeys(keys, NEVER_US)
    asked = Candidates(session, ever, ever)
    calibrations = asked.traced.calibrations
    for key, state in sorted(recall_states(session, keys).items()):
        if state != NONE:
            one = calibrations[key]
            said = "is recalled" if state == RECALLED else "is under review by a recall"
            yield _break("recalled", one.number, one.item, f"{one.number} {said}")
    for question in (range_findings, failure_findings):
        for key, finding in question(asked):
            if finding.weight != STOP:
                continue  # what cannot be shown is no break
            number = calibrations[key].number
            yield _break(finding.code, number, finding.item or "", finding.detail)


def _break(kind: str, certificate: str, item: str, detail: str) -> Record:
    return {"kind": kind, "certificate": certificate, "item": item, "detail": detail}
