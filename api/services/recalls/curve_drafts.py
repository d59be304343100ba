"""A fault made from a revision that puts right the curve of the one before.

The revision says which coefficients are right; every use that took its value from the one before
read the wrong curve, whenever it was, so that the certificate bounds the fault and no window does.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.recalls.curve_faults import KIND
from api.services.records.revisions import revisions
from api.store.tables import Certificate
from graph.polynomials import told


def curve_draft(session: Session, certificate: Certificate) -> Record | None:
    """Return the fault of the curve before, with what to check; None where no curve was changed."""
    right: Record | None = certificate.curve
    earlier = revisions(session, certificate.number, certificate.issuer)
    before = next(
        (
            one
            for one in earlier
            if one.revision < certificate.revision
            and one.status != "draft"
            and not one.never_issued
        ),
        None,
    )
    if right is None or before is None or before.curve is None:
        return None
    wrong: Record = before.curve
    alike = all(wrong[name] == right[name] for name in ("of", "unit"))
    if not alike or told(wrong["coefficients"]) == told(right["coefficients"]):
        return None
    number, revision = certificate.number, certificate.revision
    fault: Record = {
        "certificate": number,
        "revision": before.revision,
        "kind": KIND,
        "coefficients_right": right["coefficients"],
        "meaning": f"revision {revision} of {number} has other coefficients",
    }
    if certificate.issuer:
        fault["issuer"] = certificate.issuer
    notes = [
        f"the curve of revision {before.revision} is taken as the one that was used, in the range "
        "in which it was assigned; beyond it the effect is not known",
        f"every use that took its value from revision {before.revision} is suspect",
    ]
    if certificate.status != "issued":
        notes.append(f"{number} revision {revision} is {certificate.status}")
    return {"fault": fault, "notes": notes}
