"""The records of a snapshot: a recall without a database, level by level, as joins of columns.

Choice: every file is in the order of its key (`api.store.snapshot_files`). A set of keys is joined
with such a file: only the row groups between the least and the greatest key are opened, of these
first the key alone, and the other columns where a row is wanted. It is written as a filter, since
the reader carries a filter into the file and a join not. A level of a recall is one such join of
the certificates reached so far with the links that lead away from them. What is asked once in a
recall and has no file in its order, such as a method, is found by a scan of the columns concerned.

Checked when a snapshot is opened: its format, and that every file is there with its size. Not
checked then, because it would read everything: the contents, see `Snapshot.damaged`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import polars as pl

from api.store.item_values import ServingRow
from api.store.links import Met, Span, role_mark
from api.store.records import (
    CertificateRow,
    CheckRow,
    HeadRow,
    HoldingRow,
    ItemRow,
    NumberRow,
    PartRow,
    RecalibrationRow,
    ResultRow,
    UseRow,
)
from api.store.snapshot_files import FILES, FORMAT, MANIFEST, SnapshotError, file_in

_PIECE = 1 << 20


def joined(path: Path, key: str, keys: Collection[int], columns: Sequence[str]) -> pl.DataFrame:
    """Return these columns of the rows of a Parquet file whose key is one of the keys."""
    if not keys:
        return pl.DataFrame(schema=[*columns])
    wanted = pl.Series(sorted(keys), dtype=pl.Int64)
    found = pl.col(key).is_between(wanted[0], wanted[-1]) & pl.col(key).is_in(wanted.implode())
    return pl.scan_parquet(path).filter(found).select(columns).collect()


class Snapshot:
    """A folder as `snapshot_files.write` made it; its methods are those of `sources.Source`.

    Raises SnapshotError for what is none, or of another format, or not whole.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            self.manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_text("utf-8"))
        except (OSError, ValueError) as error:
            raise SnapshotError(f"{folder} holds no snapshot: {error}") from error
        found = self.manifest.get("format")
        if found != FORMAT:
            raise SnapshotError(
                f"{folder} is of format {found}, this version reads {FORMAT}; take it again with: "
                "tracehold snapshot"
            )
        for name in FILES:
            path = file_in(folder, name)
            size = path.stat().st_size if path.exists() else None
            if size != self.manifest["files"][name]["bytes"]:
                raise SnapshotError(f"{path} is missing or cut off; take the snapshot again")

    def damaged(self) -> list[str]:
        """Read every file whole; return the names of those that are not as they were written."""
        found = []
        for name in FILES:
            hashed = hashlib.sha256()
            with file_in(self.folder, name).open("rb") as opened:
                while piece := opened.read(_PIECE):
                    hashed.update(piece)
            if hashed.hexdigest() != self.manifest["files"][name]["sha256"]:
                found.append(file_in(self.folder, name).name)
        return found

    def time_zone(self) -> str | None:
        zone: str | None = self.manifest["time_zone"]
        return zone

    def item(self, code: str) -> ItemRow | None:
        found = self._scan("item", pl.col("code") == code, ItemRow._fields)
        return next(map(ItemRow._make, found), None)

    def item_keys(self, codes: Collection[str]) -> set[int]:
        found = self._scan("item", pl.col("code").is_in(sorted(codes)), ["id"])
        return {key for (key,) in found}

    def item_words(self, keys: Collection[int]) -> dict[int, tuple[str, str | None]]:
        rows = self._rows("item", keys, ["id", "code", "type"])
        return {key: (code, kind) for key, code, kind in rows}

    def customer_names(self, keys: Collection[int]) -> dict[int, str]:
        return dict(self._rows("customer", keys, ["id", "name"]))

    def rules(self, keys: Collection[int]) -> Iterable[tuple[Any, ...]]:
        return self._rows("decision_rule", keys, FILES["decision_rule"].columns)

    def holdings_of(self, parts: Collection[str]) -> list[HoldingRow]:
        held = pl.col("part").is_in(sorted(parts))
        return [
            HoldingRow._make(row) for row in self._scan("composition", held, HoldingRow._fields)
        ]

    def holdings_in(self, assemblies: Collection[str]) -> list[PartRow]:
        held = pl.col("assembly").is_in(sorted(assemblies))
        return [PartRow._make(row) for row in self._scan("composition", held, PartRow._fields)]

    def servings_of(self, items: Collection[int]) -> list[ServingRow]:
        if not items:
            return []
        rows = self._ever_issued(items).select(ServingRow._fields)
        return list(map(ServingRow._make, rows.iter_rows()))

    def ambiguous_items(self, items: Collection[int]) -> set[int]:
        if not items:
            return set()
        undated = (pl.col("status") == "voided") & pl.col("voided_us").is_null()
        span = pl.concat_str("span_from", pl.lit(" "), "span_to")
        ambiguous = (pl.col("mode").is_not_null() | undated).any() | (span.n_unique() > 1)
        rows = self._ever_issued(items).filter("assigns_value")
        found = rows.group_by("item_id").agg(ambiguous.alias("ambiguous")).filter("ambiguous")
        return set(found["item_id"].to_list())

    def _ever_issued(self, items: Collection[int]) -> pl.DataFrame:
        rows = self._join("certificate_by_item", items, [*ServingRow._fields, "never_issued"])
        return rows.filter((pl.col("status") != "draft") & ~pl.col("never_issued"))

    def bearing_items(self, items: Collection[int]) -> set[int]:
        held = {key for (key,) in self._scan("composition", pl.lit(True), ["part_id"])}
        return self._values("use_by_item", items, "item_id") | (held & set(items))

    def checks_of(self, item: int) -> list[CheckRow]:
        return [CheckRow._make(r) for r in self._rows("check", [item], CheckRow._fields)]

    def recalibrations(
        self, item: int, start_us: int | None, end_us: int | None
    ) -> list[RecalibrationRow]:
        wanted = (pl.col("item_id") == item) & (pl.col("status") == "issued")
        if start_us is not None:
            wanted &= pl.col("performed_us") > start_us
        if end_us is not None:
            wanted &= pl.col("performed_us") <= end_us
        found = self._scan("certificate", wanted, RecalibrationRow._fields)
        return [RecalibrationRow._make(row) for row in found]

    def numbered(self, number: str) -> list[NumberRow]:
        found = self._scan("certificate", pl.col("number") == number, NumberRow._fields)
        rows = [NumberRow._make(row) for row in found]
        return sorted(rows, key=lambda row: row.revision, reverse=True)

    def certificates(self, keys: Collection[int]) -> Iterator[CertificateRow]:
        return map(CertificateRow._make, self._rows("certificate", keys, CertificateRow._fields))

    def curves(self, keys: Collection[int]) -> dict[int, str | None]:
        return dict(self._rows("certificate", keys, ["id", "curve"]))

    def heads(self, keys: Collection[int]) -> Iterator[HeadRow]:
        return map(HeadRow._make, self._rows("certificate", keys, HeadRow._fields))

    def uses(self, keys: Collection[int]) -> Iterator[UseRow]:
        return map(UseRow._make, self._rows("use", keys, UseRow._fields))

    def results(self, keys: Collection[int]) -> Iterator[ResultRow]:
        return map(ResultRow._make, self._rows("result", keys, ResultRow._fields))

    def users_of_items(self, items: Collection[int]) -> set[int]:
        return self._values("use_by_item", items, "certificate_id")

    def users_of_certificate(self, certificate: int) -> set[int]:
        return self._values("use_by_source", [certificate], "certificate_id")

    def certificates_by_method(self, method: str) -> set[int]:
        return {key for (key,) in self._scan("certificate", pl.col("method") == method, ["id"])}

    def roles_of(self, items: Collection[int]) -> set[str]:
        return self._values("use_by_item", items, "role")

    def roles_elsewhere(self, _ways: Collection[Met], _window: Span) -> set[str]:
        return set()

    def lacking_roles(self, roles: Collection[str], window: Span) -> list[int]:
        wanted = ~pl.col("external")
        first, last = window
        if first is not None:
            wanted &= pl.col("performed_end_us") >= first
        if last is not None:
            wanted &= pl.col("performed_us") <= last
        for role in sorted(roles):
            wanted &= ~pl.col("roles").str.contains(role_mark(role), literal=True)
        return [key for (key,) in self._scan("certificate", wanted, ["id"])]

    def everything_downward(self, certificates: Iterable[int]) -> set[int]:
        reached = set(certificates)
        ends = set[int]()
        frontier = set(reached)
        while frontier:
            below = self._values("use_by_source", frontier, "certificate_id")
            ends |= self._values("use_by_evidence", frontier, "certificate_id")
            frontier = below - reached
            reached |= frontier
        return reached | ends

    def items_upward(self, certificates: Iterable[int]) -> set[int]:
        frontier, seen, items = set(certificates), set[int](), set[int]()
        while frontier:
            seen |= frontier
            used = self._join("use", frontier, ["item_id", "source_id"])
            items.update(used["item_id"].to_list())
            frontier = set(used["source_id"].drop_nulls().to_list()) - seen
        return items

    def certificate_in_force(self, item: int, at_us: int, mode: str | None = None) -> int | None:
        until = pl.col("serves_until_us")
        wanted = (
            (pl.col("item_id") == item)
            & pl.col("assigns_value")
            & (pl.col("performed_us") <= at_us)
            & (pl.col("serves_from_us") <= at_us)
            & (until.is_null() | (until > at_us))
        )
        if mode is not None:
            wanted &= pl.col("mode").is_null() | (pl.col("mode") == mode)
        found = self._scan("certificate", wanted, ["performed_us", "revision", "number", "id"])
        latest: tuple[Any, ...] = max(found, default=(None,))
        key: int | None = latest[-1]
        return key

    def _join(self, name: str, keys: Collection[int], columns: Sequence[str]) -> pl.DataFrame:
        return joined(file_in(self.folder, name), FILES[name].order[0], keys, columns)

    def _rows(
        self, name: str, keys: Collection[int], columns: Sequence[str]
    ) -> Iterator[tuple[Any, ...]]:
        return self._join(name, keys, columns).iter_rows()

    def _values(self, name: str, keys: Collection[int], column: str) -> set[Any]:
        """What stands in one column, each once."""
        return set(self._join(name, keys, [column])[column].unique().to_list())

    def _scan(self, name: str, wanted: pl.Expr, columns: Sequence[str]) -> list[tuple[Any, ...]]:
        """Rows for which something holds, in the order of the file."""
        frame = pl.scan_parquet(file_in(self.folder, name)).filter(wanted).select(columns)
        return frame.collect(engine="streaming").rows()
