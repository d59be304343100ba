"""Agreements with customers: which rule and specification their results are judged by.

Rows are only ever added: an agreement is changed or ended by its next version.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key


class Agreement(Base):
    """One version of what was agreed with a customer; never changed once recorded.

    At most one of item, type and order says which of the customer's calibrations it is for.
    """

    __tablename__ = "agreement"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    agreement_version: Mapped[int] = mapped_column(Integer)
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id"), index=True)
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    type: Mapped[str | None] = mapped_column(Text)
    order_number: Mapped[str | None] = mapped_column(Text)
    rule_id: Mapped[int] = mapped_column(ForeignKey("decision_rule.id"))
    specification_id: Mapped[int | None] = mapped_column(ForeignKey("specification.id"))
    holds_from: Mapped[str] = mapped_column(Text)
    holds_until: Mapped[str | None] = mapped_column(Text)
    from_us: Mapped[int] = mapped_column(BigInteger)
    until_us: Mapped[int | None] = mapped_column(BigInteger)
    agreed_with: Mapped[str | None] = mapped_column(Text)
    person: Mapped[str] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "agreement_version"),)
