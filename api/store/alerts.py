"""Tables of alerts: what failed, which uses it grew by, how it was answered, and what was read.

An alert is derived from the records by `api.services.alerts.raising` in the transaction of every
write; it is never made by hand and never deleted. `cause` names the check, the calibration (issuer
and number: revisions share it) or the value that it is about, so that one failure raises one alert
however often it is recorded.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, CheckConstraint, ForeignKey, Index, Integer, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import JsonText


class Alert(Base):
    """One failure of one item: open until it is answered, or ended with what raised it.

    `at` is when it failed (of an overdue item: its first use), `until` its last use. `good_before`
    and `followed` are the last good evidence before it and, if good, the first evidence after.
    """

    __tablename__ = "alert"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    kind: Mapped[str] = mapped_column(Text)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    cause: Mapped[str] = mapped_column(Text)
    # The calibration as found, or the value that was overdue: the revision that counts today.
    certificate_id: Mapped[int | None] = mapped_column(ForeignKey("certificate.id"))
    check_id: Mapped[int | None] = mapped_column(ForeignKey("intermediate_check.id"))
    at: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    until: Mapped[str] = mapped_column(Text)
    until_us: Mapped[int] = mapped_column(BigInteger)
    uses: Mapped[int] = mapped_column(Integer, default=0)
    good_before: Mapped[Any | None] = mapped_column(JsonText)
    followed: Mapped[Any | None] = mapped_column(JsonText)
    state: Mapped[str] = mapped_column(Text)
    raised_us: Mapped[int] = mapped_column(BigInteger)
    changed_us: Mapped[int] = mapped_column(BigInteger)
    # Of an ended one: what was written (`cause`), by whom (`by`, or the `key`) and the `reason`.
    ended: Mapped[Any | None] = mapped_column(JsonText)
    __table_args__ = (
        CheckConstraint("state IN ('open','answered','ended')", name="state"),
        CheckConstraint("kind IN ('as_found','check','overdue_use')", name="kind"),
        Index("uq_alert_cause", "item_id", "kind", "cause", unique=True),
        Index("ix_alert_state", "state", "id"),
    )


class AlertUse(Base):
    """A use of an overdue item that its alert grew by, and the value that it rested on."""

    __tablename__ = "alert_use"
    alert_id: Mapped[int] = mapped_column(ForeignKey("alert.id"), primary_key=True)
    certificate_id: Mapped[int] = mapped_column(
        ForeignKey("certificate.id"), primary_key=True, index=True
    )
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    value_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"))
    used_at: Mapped[str] = mapped_column(Text)
    used_us: Mapped[int] = mapped_column(BigInteger)


class AlertAnswer(Base):
    """That somebody answered an alert: by a recall, or with a reason. The latest one counts.

    `known_uses` are the uses that stood on the failure then: issuer, number and instant of each.
    `lapsed` is why the answer counts no longer, since `lapsed_us`.
    """

    __tablename__ = "alert_answer"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    alert_id: Mapped[int] = mapped_column(ForeignKey("alert.id"), index=True)
    recall_id: Mapped[int | None] = mapped_column(ForeignKey("recall.id"), index=True)
    reason: Mapped[str | None] = mapped_column(Text)
    person: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    known_uses: Mapped[Any | None] = mapped_column(JsonText)
    lapsed: Mapped[str | None] = mapped_column(Text)
    lapsed_us: Mapped[int | None] = mapped_column(BigInteger)


class AlertReading(Base):
    """Up to which write, and which recall, the alerts are those of the records; one row at most.

    Without a row everything is still to be read.
    """

    __tablename__ = "alert_reading"
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    position: Mapped[int] = mapped_column(BigInteger)
    recall_id: Mapped[int] = mapped_column(BigInteger)
