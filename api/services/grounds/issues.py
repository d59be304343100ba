"""A certificate is issued, or is not: stops refuse it unless a named person answers for them.

A person answers for the whole certificate, or for one use: that covers what speaks against the item
used, as its isolation, and nothing else.

What was found stays with the certificate, and so does who answered and why; the journal has the
override too. Imports of history record what is found and refuse nothing: it happened.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import DoubtfulGround, Issue
from api.services.base.record import Record
from api.services.grounds.candidates import Candidates
from api.services.grounds.doubts import IN_DOUBT
from api.services.grounds.finding import STOP, Finding
from api.services.grounds.fitness import isolated_findings
from api.services.grounds.grounds import grounds, shown
from api.store.chunks import chunks
from api.store.grounds import CertificateGrounds
from api.store.journal import note as journal_note
from api.store.tables import Certificate, Item, Usage
from graph.moments import text_of

LOT = 500


def settle(
    session: Session,
    certificate: Certificate,
    override: Record | None,
    now_us: int,
    sent: Record | None = None,
) -> None:
    """Refuse a certificate that was just issued in this transaction, or keep what was found.

    Parameters
    ----------
    session : Session
        The open transaction; on a refusal the caller's error rolls it back.
    certificate : Certificate
        As recorded, its status `issued`.
    override : Record, optional
        Who answers for it (`by`) and why (`reason`).
    now_us : int
        The instant of the issue.
    sent : Record, optional
        The calibration as it was sent, into which pointers are made; without it they are empty.

    Raises
    ------
    DoubtfulGround
        If there are stops and no override.
    """
    found = at_issue(session, certificate, now_us)
    answered = _answered(session, certificate)
    stops = [one for one in found if one.weight == STOP and not _covers(answered, one)]
    if stops and override is None:
        raise _doubtful(
            f'certificate "{certificate.number}" would be issued on doubtful ground',
            [(_pointer(one, sent or {}), one) for one in [*stops, *_minded(found)]],
        )
    row = CertificateGrounds(
        certificate_id=certificate.id,
        at_us=now_us,
        findings=[shown(one) for one in found],
        override=override,
    )
    session.add(row)
    session.flush()
    if override is not None:
        journal_note(
            session,
            "issued under override",
            certificate=certificate.number,
            revision=certificate.revision,
            issuer=certificate.issuer,
            codes=sorted({one.code for one in stops}),
            **override,
        )


def at_issue(session: Session, certificate: Certificate, now_us: int) -> list[Finding]:
    """Return what speaks against the issue of a certificate: all that is known now.

    It is issued at the instant that its record states, and now where it states none.
    """
    key = certificate.id
    return grounds(session, {key: now_us}, {key: _first(certificate.issued_us, now_us)})[key]


def refuse_isolated(session: Session, certificate: Certificate, code: str) -> None:
    """Refuse a corrected or added use of an item that is isolated, as the issue would have been.

    Nothing else is asked: the correction says what was used, and recalls take note of it. A draft
    is asked at its issue.

    Raises
    ------
    DoubtfulGround
        If the item, as this certificate used it, was isolated.
    """
    if certificate.status == "draft":
        return
    at = {certificate.id: certificate.performed_us}
    asked = Candidates(session, at, at)
    found = [one for _, one in isolated_findings(asked) if one.item == code]
    if found:
        what = f'the use in certificate "{certificate.number}" is on doubtful ground'
        raise _doubtful(what, [("/use/item", one) for one in found])


def keep_history(
    session: Session, first_key: int, now_us: int, overrides: Mapping[int, Record]
) -> None:
    """Keep what speaks against certificates that an import recorded, from this key on.

    Each is asked about as of its issue, else of the end of its calibration; what was voided by its
    issue, else by now, as where one is recorded by itself. `overrides` are what the import itself
    said, by key.
    """
    instant = select(Certificate.id, Certificate.issued_us, Certificate.performed_end_us).where(
        Certificate.id >= first_key, Certificate.status == "issued"
    )
    known = {row.id: row for row in session.execute(instant)}
    for some in chunks(sorted(known), LOT):
        found = grounds(
            session,
            {key: _first(known[key].issued_us, known[key].performed_end_us) for key in some},
            {key: _first(known[key].issued_us, now_us) for key in some},
        )
        rows = [
            {
                "certificate_id": key,
                "at_us": now_us,
                "findings": [shown(one) for one in found[key]],
                "override": overrides.get(key),
            }
            for key in some
        ]
        session.execute(insert(CertificateGrounds), rows)


def _first(known: int | None, otherwise: int) -> int:
    return otherwise if known is None else known


def kept(session: Session, certificate: Certificate, now_us: int) -> Record:
    """Return what spoke against a certificate at its issue, and what does today.

    `grounds` is null where nobody asked: a draft, or one from before it was asked.
    """
    row = session.get(CertificateGrounds, certificate.id)
    today = grounds(session, {certificate.id: now_us})[certificate.id]
    answer: Record = {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "grounds": None if row is None else row.findings,
        "today": [shown(one) for one in today],
    }
    if row is not None:
        answer["at"] = text_of(row.at_us)
        if row.override is not None:
            answer["override"] = row.override
    return answer


def _doubtful(what: str, found: Sequence[tuple[str, Finding]]) -> DoubtfulGround:
    stops = sum(one.weight == STOP for _, one in found)
    return DoubtfulGround(
        f"{what}: {stops} finding(s) stop it; nothing stored",
        [
            Issue(place, one.detail, one.remedy, one.item, code=one.code, weight=one.weight)
            for place, one in found
        ],
    )


def _minded(found: Sequence[Finding]) -> list[Finding]:
    return [one for one in found if one.weight != STOP]


def _answered(session: Session, certificate: Certificate) -> set[str]:
    """Return the items for whose use in it somebody answers."""
    statement = select(Item.code).join(Usage, Usage.item_id == Item.id)
    return set(
        session.scalars(
            statement.where(Usage.certificate_id == certificate.id, Usage.override.is_not(None))
        )
    )


def _covers(answered: set[str], finding: Finding) -> bool:
    """Whether the override of a use covers a finding: what speaks against the item itself.

    That a recall would list the certificate is more than that.
    """
    return finding.item in answered and finding.code != IN_DOUBT


def _pointer(finding: Finding, sent: Record) -> str:
    """Point to the use, else the result, that a finding speaks of; to the whole without one."""
    uses: Sequence[Record] = sent.get("uses", ())
    for place, use in enumerate(uses):
        if finding.item == use["item"]:
            return f"/uses/{place}/item"
    results: Sequence[Record] = sent.get("results", ())
    for place, result in enumerate(results):
        if finding.point == str(result["point"]) and finding.stage in (None, result["stage"]):
            return f"/results/{place}"
    return ""
