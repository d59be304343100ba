"""What is recorded of a calibration that is sent again, after its uses were corrected too.

A record is the same again if it is what stands now. What stood before a correction is not: whoever
sends it has not heard of the correction, and is told of it. Only a digest is kept of what was sent
first; what is sent now has the same content if, with the first uses put back, it has that digest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import exists, select
from sqlalchemy.orm import Session

from api.services.base.record import Record, digest
from api.services.certificates.use_corrections import kept
from api.services.records.record_corrections import CALIBRATIONS
from api.store.chunks import chunks
from api.store.tables import Certificate, Item, RecordCorrection, Usage, UseCorrection
from graph.moments import text_of

Identity = tuple[str, str, int]  # issuer, number, revision


@dataclass(frozen=True, slots=True)
class Stored:
    """One recorded revision of a certificate; `corrected` if uses of it were.

    `fault_corrections` are what was taken from its errors for faults, if anything was.
    """

    key: int
    status: str
    content_hash: str
    corrected: bool
    fault_corrections: list[Record] | None

    def otherwise(self, session: Session, calibration: Record) -> tuple[str, str] | None:
        """Say what is otherwise about a record under the same number, with a remedy; None: nothing.

        What it says is read on behind the name of the certificate.
        """
        same = self.content_hash == digest(calibration)
        if self.corrected:
            now = _standing(session, self.key)
            same = self.content_hash in now.sent_first(calibration)
            if same and now.stood(calibration):
                remedy = (
                    f"send the uses as they stand now (GET /v1/certificates/"
                    f"{calibration['certificate']}), correct them with POST "
                    ".../uses/{position}/corrections, or leave it out"
                )
                return f"has been corrected since: {now.told}", remedy
            same = same and now.stands(calibration)
        if same:
            return None
        remedy = "an issued certificate is not edited: record a new revision that replaces it"
        return "is recorded with other content", remedy


def stored(session: Session, identities: Sequence[Identity]) -> dict[Identity, Stored]:
    """Return what is recorded under the numbers of these certificates, every revision of them."""
    numbers = sorted({number for _, number, _ in identities})
    names = Certificate.issuer, Certificate.number, Certificate.revision
    facts = Certificate.id, Certificate.status, Certificate.content_hash
    taken = Certificate.fault_corrections
    corrected = exists().where(UseCorrection.certificate_id == Certificate.id)
    return {
        (row.issuer, row.number, row.revision): Stored(
            row.id,
            row.status,
            row.content_hash,
            row.corrected,
            row.fault_corrections,
        )
        for some in chunks(numbers)
        for row in session.execute(
            select(*names, *facts, taken, corrected.label("corrected")).where(
                Certificate.number.in_(some)
            )
        )
    }


@dataclass(slots=True)
class _Standing:
    """Item and uses of one certificate, as they stand and as they were recorded first.

    `before` are the digests of the uses as they stood before each correction.
    """

    item: str
    first_item: str
    uses: str
    first_uses: list[Record] = field(default_factory=list)
    before: set[str] = field(default_factory=set)
    told: str = ""

    def stands(self, calibration: Record) -> bool:
        """Whether a calibration names the item and the uses that stand."""
        return calibration["item"] == self.item and _uses(calibration) == self.uses

    def stood(self, calibration: Record) -> bool:
        """Whether it names what stood at some time, and does not now."""
        item, uses = calibration["item"], _uses(calibration)
        known = item in (self.item, self.first_item) and uses in {self.uses, *self.before}
        return known and not self.stands(calibration)

    def sent_first(self, calibration: Record) -> tuple[str, ...]:
        """Return the digests that it would have had as it was recorded first."""
        rest = {name: value for name, value in calibration.items() if name != "uses"}
        rest["item"] = self.first_item
        made = digest(rest | {"uses": self.first_uses})
        return (made,) if self.first_uses else (made, digest(rest))


def _uses(calibration: Record) -> str:
    return digest({"uses": calibration.get("uses") or []})


def _standing(session: Session, certificate: int) -> _Standing:
    """Read what stands of a certificate, and what stood before."""
    row = session.get_one(Certificate, certificate)
    code = session.get_one(Item, row.item_id).code
    uses = select(Usage, Item.code).join(Item, Item.id == Usage.item_id)
    found = session.execute(uses.where(Usage.certificate_id == certificate))
    at: dict[int, Record | None] = {use.position: kept(use, item) for use, item in found}
    made = _Standing(code, _first_item(session, certificate) or code, _digest(at))
    history = select(UseCorrection).where(UseCorrection.certificate_id == certificate)
    for one in session.scalars(history.order_by(UseCorrection.id.desc())):
        at[one.position] = one.before
        made.before.add(_digest(at))
        made.told = made.told or _told(one)
    made.first_uses = _in_order(at)
    return made


def _digest(at: dict[int, Record | None]) -> str:
    return _uses({"uses": _in_order(at)})


def _in_order(at: dict[int, Record | None]) -> list[Record]:
    return [one for _, one in sorted(at.items()) if one is not None]


def _told(one: UseCorrection) -> str:
    """A correction in words."""
    what = "added" if one.before is None else "taken out" if one.after is None else "replaced"
    return f"use {one.position} was {what} by {one.person} at {text_of(one.at_us)} ({one.reason})"


def _first_item(session: Session, certificate: int) -> str | None:
    """Return the item of which a certificate was recorded, if that was put right since."""
    before = session.scalars(
        select(RecordCorrection.before)
        .where(
            RecordCorrection.collection == CALIBRATIONS, RecordCorrection.record_id == certificate
        )
        .order_by(RecordCorrection.id)
    ).first()
    found: str | None = None if before is None else before.get("item")
    return found
