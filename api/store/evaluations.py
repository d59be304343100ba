"""Tables of evaluated runs and of the class tables that they are judged by.

Rows are only ever added: an evaluation keeps its request and its answer, a class table its
versions.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import JsonText


class RunEvaluation(Base):
    """Evaluated raw runs: what was sent and what came out, with the engine version."""

    __tablename__ = "run_evaluation"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    item_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"), index=True)
    engine_version: Mapped[str] = mapped_column(Text)
    request: Mapped[Any] = mapped_column(JsonText)
    answer: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)


class ClassTable(Base):
    """One version of a laboratory's own class table; never changed once recorded."""

    __tablename__ = "class_table"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    table_version: Mapped[int] = mapped_column(Integer)
    definition: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "table_version"),)
