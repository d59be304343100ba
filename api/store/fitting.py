"""Tables of what is looked at before the load is applied: requirements, set-up checks, load events.

All three are only ever added to. A requirement is one version of a record; a set-up check keeps the
request and the answer as they were, and the items in it, by which it is found again.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import DecimalText, JsonText


class Requirement(Base):
    """One version of what an instrument, or a type of instrument, asks of a set-up."""

    __tablename__ = "requirement"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    requirement_version: Mapped[int] = mapped_column(Integer)
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"), index=True)
    type: Mapped[str | None] = mapped_column(Text, index=True)
    capacity: Mapped[str | None] = mapped_column(Text)
    make: Mapped[str | None] = mapped_column(Text)
    model: Mapped[str | None] = mapped_column(Text)
    source: Mapped[str] = mapped_column(Text)
    edition: Mapped[str | None] = mapped_column(Text)
    definition: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "requirement_version"),)


class SetupCheck(Base):
    """A set-up check as it was asked for and answered."""

    __tablename__ = "setup_check"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    engine_version: Mapped[str] = mapped_column(Text)
    outcome: Mapped[str] = mapped_column(Text)
    request: Mapped[Any] = mapped_column(JsonText)
    answer: Mapped[Any] = mapped_column(JsonText)


class SetupCheckItem(Base):
    """An item that a set-up check looked at."""

    __tablename__ = "setup_check_item"
    setup_check_id: Mapped[int] = mapped_column(ForeignKey("setup_check.id"), primary_key=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), primary_key=True)
    __table_args__ = (Index("ix_setup_check_item_item", "item_id", "setup_check_id"),)


class LoadEvent(Base):
    """A load outside a calibration, or a mishap: proof load, overload, fall, shock, other use."""

    __tablename__ = "load_event"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), index=True)
    at: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    at_end_us: Mapped[int] = mapped_column(BigInteger)
    kind: Mapped[str] = mapped_column(Text)
    force: Mapped[Decimal | None] = mapped_column(DecimalText)
    unit: Mapped[str | None] = mapped_column(Text)
    applications: Mapped[int | None] = mapped_column(BigInteger)
    person: Mapped[str] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    content_hash: Mapped[str] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
