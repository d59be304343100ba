"""What a customer is shown of a certificate: what stands on the paper, and what became of it.

Choice: a list of what is shown, so that a field added later is not. Uses and their corrections,
remarks, reasons and comparisons with the laboratory's capabilities stay with the laboratory; they
may name what belongs to somebody else.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.certificates import certificates, results
from api.services.records.revisions import revisions
from api.store.tables import Certificate

CERTIFICATE = (
    "certificate",
    "issuer",
    "item",
    "customer",
    "revision",
    "status",
    "performed_at",
    "issued_at",
    "due_at",
    "external",
    "accreditation",
    "method",
    "mode",
    "curve",
    "order",
    "place",
    "conditions",
    "received_at",
    "performed_by",
    "authorised_by",
    "agreement",
    "adjusted",
    "amendment",
    "superseded_by",
    "version",
    "recalls",
    "recall_state",
)
STATED = ("overall", "statement")
RESULT = (
    *(name for name in results.COLUMNS if name != "note"),
    "verdict",
    "branch",
    "tolerance",
    "tolerance_rel_pct",
    "rule",
    "rule_version",
    "specification_version",
)


def head(shown: Record) -> Record:
    """Return what the customer sees of a certificate without its results."""
    return _only(shown, CERTIFICATE)


def answer(session: Session, certificate: Certificate) -> Record:
    """Return a certificate as its customer sees it, with the revisions that are its own."""
    whole = certificates.answer(session, certificate)
    own = revisions(session, certificate.number, certificate.issuer)
    return (
        head(whole)
        | _only(whole, STATED)
        | {
            "revisions": [
                {"revision": one.revision, "status": one.status}
                for one in own
                if one.customer_id == certificate.customer_id
            ],
            "results": [_only(one, RESULT) for one in whole["results"]],
        }
    )


def _only(shown: Record, names: tuple[str, ...]) -> Record:
    return {name: value for name, value in shown.items() if name in names}
