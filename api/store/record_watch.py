"""Tables by which no stored recall is overtaken unseen: what was written, and who must hear of it.

``record_change`` has a row for each write that can change what a recall finds. Its id is a
position: all who write one hold the graph lock until they commit, so that whoever reads position P
in a snapshot sees everything up to P and nothing behind it. ``recall_watch`` and the tables beside
it say what each stored recall depends on, so that a write finds the recalls that it may concern by
an index. Nothing here is evidence; the history of a recall's flag is in ``recall_stale``.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.store.tables import Base, Key
from api.store.types import JsonText


class RecordChange(Base):
    """One write: why, which certificates (first to last key), and whether it concerns everything.

    `inserted` tells certificates that are new from such as were changed.
    """

    __tablename__ = "record_change"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    at_us: Mapped[int] = mapped_column(BigInteger)
    cause: Mapped[str] = mapped_column(Text)
    first_certificate: Mapped[int | None] = mapped_column(BigInteger)
    last_certificate: Mapped[int | None] = mapped_column(BigInteger)
    inserted: Mapped[bool] = mapped_column(default=False)
    everything: Mapped[bool] = mapped_column(default=False)


class RecordChangeItem(Base):
    """An item that a write concerns apart from those of its certificates and their uses."""

    __tablename__ = "record_change_item"
    change_id: Mapped[int] = mapped_column(ForeignKey("record_change.id"), primary_key=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), primary_key=True)


class RecallWatch(Base):
    """Where a stored recall stands against today's records.

    `position` is what it had read when it was stored, `checked_position` what had been read when a
    fresh recall was last compared with it: `stale` was the outcome. From the first write behind
    that which may change it, `marked_position` names that write until the next comparison.
    """

    __tablename__ = "recall_watch"
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    position: Mapped[int] = mapped_column(BigInteger)
    checked_position: Mapped[int] = mapped_column(BigInteger)
    checked_us: Mapped[int] = mapped_column(BigInteger)
    engine_version: Mapped[str] = mapped_column(Text)
    stale: Mapped[bool] = mapped_column(default=False)
    marked_position: Mapped[int | None] = mapped_column(BigInteger, index=True)
    marked_us: Mapped[int | None] = mapped_column(BigInteger)


class RecallWatchItem(Base):
    """An item that the answer of a stored recall depends on."""

    __tablename__ = "recall_watch_item"
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    __table_args__ = (
        Index("ix_recall_watch_item_recall", "recall_id"),
        {"sqlite_with_rowid": False},
    )


class RecallWatchWindow(Base):
    """A time in which a certificate that names nothing in these roles enters a stored recall."""

    __tablename__ = "recall_watch_window"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), index=True)
    first_us: Mapped[int | None] = mapped_column(BigInteger)
    last_us: Mapped[int | None] = mapped_column(BigInteger)
    roles: Mapped[Any] = mapped_column(JsonText)


class RecallWatchWord(Base):
    """A number of certificates, or a method, that a fault of a stored recall names."""

    __tablename__ = "recall_watch_word"
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    kind: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(Text, primary_key=True)


class RecallDifference(Base):
    """Where a fresh recall puts a certificate elsewhere than the stored one, or says otherwise.

    Without `list_name` the fresh one does not list it. What either lists as cleared is left out
    where the other does not list it, or clears it too.
    """

    __tablename__ = "recall_difference"
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    certificate_id: Mapped[int] = mapped_column(
        ForeignKey("certificate.id"), primary_key=True, index=True
    )
    list_name: Mapped[str | None] = mapped_column(Text)
    body_hash: Mapped[str | None] = mapped_column(Text)


class WorkLease(Base):
    """Who does a work that one process does for all, and until when without being renewed."""

    __tablename__ = "work_lease"
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str] = mapped_column(Text)
    until_us: Mapped[int] = mapped_column(BigInteger)
