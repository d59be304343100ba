"""Tables of what people do with a stored recall: its case, dispositions, notices, and the feed.

Everything but the state of a case, the counters of a delivery and the settings of a webhook is only
ever added to. Persons are names, as given in the request. A change row holds keys, not copies: what
it says of a certificate is read when it is asked for. ``change.id`` is the cursor of the feed; all
writers of it hold the graph lock until they commit, so that ids become visible in their order.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, Boolean, ForeignKey, Index, Integer, Text, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from api.store.alerts import Alert
from api.store.tables import Base, Key
from api.store.types import JsonText


class RecallCase(Base):
    """Where the handling of one recall stands; `version` counts everything done in it."""

    __tablename__ = "recall_case"
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    state: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer, default=1)
    # Counted by hand: a disposition is something done in the case, and changes no column here.
    __mapper_args__ = {"version_id_col": version, "version_id_generator": False}


class CaseEvent(Base):
    """A change of a case's state, the authorisation to resume work, or a step of corrective action.

    Who, when and why; `effective` is what a review of effectiveness found.
    """

    __tablename__ = "case_event"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), index=True)
    kind: Mapped[str] = mapped_column(Text)
    state_before: Mapped[str] = mapped_column(Text)
    state_after: Mapped[str] = mapped_column(Text)
    person: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    effective: Mapped[bool | None] = mapped_column(Boolean)


class Disposition(Base):
    """What is done about one certificate of a recall; the latest row is the one that counts.

    `justification` stays in the house; `reason_for_customer` is told in the notice.
    """

    __tablename__ = "disposition"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"))
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"))
    list_name: Mapped[str] = mapped_column(Text)
    action: Mapped[str] = mapped_column(Text)
    justification: Mapped[str | None] = mapped_column(Text)
    reason_for_customer: Mapped[str | None] = mapped_column(Text)
    person: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (
        Index("ix_disposition_recall", "recall_id", "certificate_id", "id"),
        Index("ix_disposition_certificate", "certificate_id"),
    )


class Notice(Base):
    """A notice to one customer, as it was created; the hash is of `content` as it stands here."""

    __tablename__ = "notice"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"))
    position: Mapped[int] = mapped_column(Integer)
    number: Mapped[str] = mapped_column(Text, unique=True)
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("notice.id"))
    reply_by: Mapped[str] = mapped_column(Text)
    reply_by_us: Mapped[int] = mapped_column(BigInteger)
    person: Mapped[str] = mapped_column(Text)
    created_us: Mapped[int] = mapped_column(BigInteger)
    content: Mapped[str] = mapped_column(Text)
    content_hash: Mapped[str] = mapped_column(Text)
    __table_args__ = (UniqueConstraint("recall_id", "position"),)


class NoticeRecord(Base):
    """That a notice was delivered, reminded of or acknowledged: when, to or from whom, and how."""

    __tablename__ = "notice_record"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    notice_id: Mapped[int] = mapped_column(ForeignKey("notice.id"), index=True)
    kind: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    party: Mapped[str] = mapped_column(Text)
    how: Mapped[str] = mapped_column(Text)
    person: Mapped[str] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)


class NoticeException(Base):
    """That a customer concerned is sent no notice, or nobody is told of a certificate: who, why.

    It names either a customer or a certificate whose customer is not known.
    """

    __tablename__ = "notice_exception"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), index=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    certificate_id: Mapped[int | None] = mapped_column(ForeignKey("certificate.id"))
    person: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)


class Change(Base):
    """One line of the change feed."""

    __tablename__ = "change"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    at_us: Mapped[int] = mapped_column(BigInteger, index=True)
    event: Mapped[str] = mapped_column(Text)
    certificate_id: Mapped[int | None] = mapped_column(ForeignKey("certificate.id"))
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"))
    recall_id: Mapped[int | None] = mapped_column(ForeignKey("recall.id"))
    notice_id: Mapped[int | None] = mapped_column(ForeignKey("notice.id"))
    alert_id: Mapped[int | None] = mapped_column(ForeignKey(Alert.id))
    detail: Mapped[str | None] = mapped_column(Text)
    __table_args__ = (
        Index(
            "ix_change_customer",
            "customer_id",
            "id",
            sqlite_where=text("customer_id IS NOT NULL"),
            postgresql_where=text("customer_id IS NOT NULL"),
        ),
    )


class Webhook(Base):
    """An address that is told of changes; `cursor` is the last change handed to a delivery.

    The secret is kept in the clear because every delivery is signed with it.
    """

    __tablename__ = "webhook"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    url: Mapped[str] = mapped_column(Text)
    secret: Mapped[str] = mapped_column(Text)
    events: Mapped[Any] = mapped_column(JsonText)
    cursor: Mapped[int] = mapped_column(BigInteger)
    state: Mapped[str] = mapped_column(Text)
    created_us: Mapped[int] = mapped_column(BigInteger)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __mapper_args__ = {"version_id_col": version}


class WebhookDelivery(Base):
    """One message to a webhook: the changes in it, and what came of sending it."""

    __tablename__ = "webhook_delivery"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    webhook_id: Mapped[int] = mapped_column(ForeignKey("webhook.id"))
    body: Mapped[str] = mapped_column(Text)
    changes: Mapped[int] = mapped_column(Integer)
    state: Mapped[str] = mapped_column(Text)
    attempts: Mapped[int] = mapped_column(Integer)
    due_us: Mapped[int] = mapped_column(BigInteger)
    created_us: Mapped[int] = mapped_column(BigInteger)
    outcomes: Mapped[Any] = mapped_column(JsonText)
    ended_us: Mapped[int | None] = mapped_column(BigInteger)
    __table_args__ = (Index("ix_webhook_delivery_state", "webhook_id", "state", "id"),)
