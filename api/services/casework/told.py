"""Who is to be told of a recall, and who was? Or for whom it stands, with a name, why not.

A customer counts as told by the latest of its notices, once it was delivered or acknowledged: one
that was replaced told something that holds no longer. Reported to the customer, or a reason why not
(ISO/IEC 17025:2017, 7.10.1 e, from memory).
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.services.base.record import Record
from api.services.records.items import CUSTOMERS_OWN
from api.store.casework import Disposition, Notice, NoticeException, NoticeRecord
from api.store.tables import Certificate, Customer, Item, Laboratory, RecallEntry
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED
from graph.moments import text_of

NOTHING = "no_action"
SENT = ("delivery", "acknowledgement")
MOST_NAMED = 100
Newer, Owner = aliased(Notice), aliased(Customer)


def latest_dispositions(recall_id: int) -> Select[Any]:
    """Keys of the dispositions that count: the latest of each certificate."""
    return (
        select(func.max(Disposition.id))
        .where(Disposition.recall_id == recall_id)
        .group_by(Disposition.certificate_id)
    )


def concerned(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Certificates of which customers are to be told: `id` and `name` of the customer, the key.

    A certificate without customer is told of to the owner of its item, if that is a customer.
    Exposed certificates without effect are told of only if something is done about them, and those
    that cannot be excluded unless it was decided that nothing is to be done.
    """
    statement = select(Customer.id, Customer.name, RecallEntry.certificate_id)
    return _to_tell(statement, recall_id).where(Customer.id.is_not(None))


def nobodys(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Certificates of which somebody is to be told, and nobody knows who: key, number, revision.

    They name no customer, and their item no owner that is one. The laboratory's own items without
    owner concern nobody else. `excepted` says whether a reason stands why nobody is told.
    """
    excepted = exists().where(
        NoticeException.recall_id == recall_id,
        NoticeException.certificate_id == RecallEntry.certificate_id,
    )
    statement = select(
        RecallEntry.certificate_id,
        Certificate.number,
        Certificate.revision,
        Certificate.issuer,
        excepted.label("excepted"),
    )
    house = select(Laboratory.name).where(Laboratory.name.is_not(None)).scalar_subquery()
    foreign = or_(
        and_(Item.owner.is_(None), Item.kind == CUSTOMERS_OWN),
        Item.owner != func.coalesce(house, ""),
    )
    return _to_tell(statement, recall_id).where(Customer.id.is_(None), foreign)


def _to_tell(statement: Select[*tuple[Any, ...]], recall_id: int) -> Select[*tuple[Any, ...]]:
    decided = and_(
        Disposition.recall_id == recall_id,
        Disposition.certificate_id == RecallEntry.certificate_id,
        Disposition.id.in_(latest_dispositions(recall_id)),
    )
    something = Disposition.action != NOTHING
    return (
        statement.select_from(RecallEntry)
        .join(Certificate, Certificate.id == RecallEntry.certificate_id)
        .join(Item, Item.id == Certificate.item_id)
        .outerjoin(Owner, and_(Certificate.customer_id.is_(None), Owner.name == Item.owner))
        .outerjoin(Customer, Customer.id == func.coalesce(Certificate.customer_id, Owner.id))
        .outerjoin(Disposition, decided)
        .where(
            RecallEntry.recall_id == recall_id,
            or_(
                RecallEntry.list_name.in_((AFFECTED, INDETERMINATE)),
                and_(RecallEntry.list_name == EXPOSED, something),
                and_(
                    RecallEntry.list_name == NOT_EXCLUDED,
                    or_(Disposition.id.is_(None), something),
                ),
            ),
        )
    )


def customers(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Customers concerned, each once: `id`, `name`, and whether it was `told` or is `excepted`."""
    theirs = concerned(recall_id).subquery()
    told = exists().where(Notice.customer_id == theirs.c.id, _last_and_sent(recall_id))
    excepted = exists().where(
        NoticeException.recall_id == recall_id, NoticeException.customer_id == theirs.c.id
    )
    return select(
        theirs.c.id, theirs.c.name, told.label("told"), excepted.label("excepted")
    ).distinct()


def untold(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Customers concerned that were sent no notice and for whom no reason stands: `id`, `name`."""
    all_of_them = customers(recall_id).subquery()
    return select(all_of_them.c.id, all_of_them.c.name).where(
        ~all_of_them.c.told, ~all_of_them.c.excepted
    )


def told_otherwise(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Customers whose notice went out before something was decided about their certificates.

    It said that nothing was decided yet, or something else: `id` and `name`, each once.
    """
    theirs = concerned(recall_id).subquery()
    return (
        select(theirs.c.id, theirs.c.name)
        .join(Notice, and_(Notice.customer_id == theirs.c.id, _last_and_sent(recall_id)))
        .join(Disposition, Disposition.certificate_id == theirs.c.certificate_id)
        .where(
            Disposition.id.in_(latest_dispositions(recall_id)),
            Disposition.at_us > Notice.created_us,
        )
        .distinct()
    )


def _last_and_sent(recall_id: int) -> ColumnElement[bool]:
    """Whether a notice is the last one of its customer in a recall, and was sent."""
    newer = exists().where(
        Newer.recall_id == recall_id,
        Newer.customer_id == Notice.customer_id,
        Newer.id > Notice.id,
    )
    sent = exists().where(NoticeRecord.notice_id == Notice.id, NoticeRecord.kind.in_(SENT))
    return and_(Notice.recall_id == recall_id, sent, ~newer)


def unclaimed(recall_id: int) -> Select[*tuple[Any, ...]]:
    """Certificates of which nobody knows who is to be told, and for which no reason stands."""
    all_of_them = nobodys(recall_id).subquery()
    return select(all_of_them).where(~all_of_them.c.excepted)


def progress(session: Session, recall_id: int) -> Record:
    """Return how many customers are concerned and told, who is missing, and who is excepted.

    `told_otherwise` were sent their notice before something was decided, `without_customer` are the
    certificates of which nobody knows who is to be told.
    """
    rows = session.execute(customers(recall_id)).all()
    missing = sorted(row.name for row in rows if not row.told and not row.excepted)
    late = sorted(row.name for row in session.execute(told_otherwise(recall_id)))
    lost = session.execute(unclaimed(recall_id)).all()
    named = sorted((row.number, row.revision) for row in lost)[:MOST_NAMED]
    return {
        "concerned": len(rows),
        "told": sum(bool(row.told) for row in rows),
        "missing": len(missing),
        "named": missing[:MOST_NAMED],
        "told_otherwise": {"count": len(late), "named": late[:MOST_NAMED]},
        "without_customer": {
            "missing": len(lost),
            "named": [{"certificate": number, "revision": at} for number, at in named],
        },
        "exceptions": exceptions(session, recall_id),
    }


def exceptions(session: Session, recall_id: int) -> list[Record]:
    """Return who is sent no notice, and of what nobody is told, with who said so, when and why."""
    rows = session.execute(
        select(NoticeException, Customer.name, Certificate.number, Certificate.revision)
        .outerjoin(Customer, Customer.id == NoticeException.customer_id)
        .outerjoin(Certificate, Certificate.id == NoticeException.certificate_id)
        .where(NoticeException.recall_id == recall_id)
        .order_by(NoticeException.id)
    )
    return [
        ({"customer": name} if number is None else {"certificate": number, "revision": revision})
        | {"by": one.person, "at": text_of(one.at_us), "reason": one.reason}
        for one, name, number, revision in rows
    ]
