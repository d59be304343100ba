"""Tables of set-up comparisons: what two set-ups made of the same instrument; only ever added to.

Request and answer are kept as they were understood and given; `instrument_type`, `performed_us` and
`significant` stand beside them, because set-up checks ask for the latest significant one of a type.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import JsonText


class StoredComparison(Base):
    """One comparison with its readings and everything worked out from them."""

    __tablename__ = "setup_comparison"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    engine_version: Mapped[str] = mapped_column(Text)
    instrument_type: Mapped[str] = mapped_column(Text)
    performed_us: Mapped[int] = mapped_column(BigInteger)
    significant: Mapped[bool | None] = mapped_column()
    request: Mapped[Any] = mapped_column(JsonText)
    answer: Mapped[Any] = mapped_column(JsonText)
    __table_args__ = (
        Index("ix_setup_comparison_type", "instrument_type", "significant", "performed_us", "id"),
    )


class ComparedItem(Base):
    """An item in a comparison: `role` is "instrument", "usual" or "other"."""

    __tablename__ = "setup_comparison_item"
    comparison_id: Mapped[int] = mapped_column(ForeignKey("setup_comparison.id"), primary_key=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), primary_key=True, index=True)
    role: Mapped[str] = mapped_column(Text, primary_key=True)
