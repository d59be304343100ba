"""Tables of uncertainty: budgets as they were evaluated, and the laboratory's capabilities (CMC).

Rows are only ever added: a budget keeps its request and its answer, a capability its versions.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, Integer, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import JsonText


class UncertaintyBudget(Base):
    """An uncertainty budget: what was asked and what came out, with the engine version."""

    __tablename__ = "uncertainty_budget"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    engine_version: Mapped[str] = mapped_column(Text)
    request: Mapped[Any] = mapped_column(JsonText)
    answer: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)


class Cmc(Base):
    """One version of a calibration and measurement capability; never changed once recorded."""

    __tablename__ = "cmc"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    cmc_version: Mapped[int] = mapped_column(Integer)
    definition: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "cmc_version"),)
