"""Rows of the store as records of the graph, read piece by piece.

Uses are read first and for all certificates at once: who rests on whom decides the order. Results,
which are most of the data, follow where a fault reaches (`api.services.recalls.reading_results`).
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from operator import attrgetter
from typing import Any
from zoneinfo import ZoneInfo

from api.services.recalls.faults import METHOD_PREFIX
from api.services.recalls.resting import Histories
from api.store.chunks import chunks
from api.store.records import CertificateRow, UseRow
from api.store.sources import Source
from graph.model import ONE, Calibration, Taken, Use, Window
from graph.moments import Moment, instant_us

AT_ONCE = 500
UTC = ZoneInfo("UTC")
_POSITION = attrgetter("position")


@dataclass(slots=True)
class Traced:
    """Certificates read so far: their rows, their calibrations without points, and lookups."""

    source: Source
    methods: frozenset[str] = frozenset()  # recorded methods that count as something used
    rows: dict[int, CertificateRow] = field(default_factory=dict)
    calibrations: dict[int, Calibration] = field(default_factory=dict)
    items: dict[int, tuple[str, str | None]] = field(default_factory=dict)
    customers: dict[int, str] = field(default_factory=dict)
    histories: Histories = field(init=False)

    def __post_init__(self) -> None:
        self.histories = Histories(self.source)

    def read(self, keys: Collection[int]) -> None:
        """Read certificates and their uses; those read before stay as they are."""
        for some in chunks(sorted(_lacking(self.rows, keys)), AT_ONCE):
            rows = list(self.source.certificates(some))
            uses = grouped(self.source.uses(some))
            self._learn(rows, uses)
            for row in rows:
                self.rows[row.id] = row
                self.calibrations[row.id] = self._calibration(row, uses.get(row.id, ()))

    def customer(self, key: int) -> str | None:
        """Name of the customer of a certificate."""
        customer_id = self.rows[key].customer_id
        return None if customer_id is None else self.customers[customer_id]

    def _learn(self, rows: Sequence[CertificateRow], uses: Mapping[int, list[UseRow]]) -> None:
        items = {row.item_id for row in rows}
        items.update(use.item_id for some in uses.values() for use in some)
        self.items |= self.source.item_words(_lacking(self.items, items))
        used = {use.item_id for some in uses.values() for use in some}
        self.histories.learn({key: self.items[key][0] for key in used})
        customers = {row.customer_id for row in rows if row.customer_id is not None}
        self.customers |= self.source.customer_names(_lacking(self.customers, customers))

    def _calibration(self, row: CertificateRow, uses: Sequence[UseRow]) -> Calibration:
        code, kind = self.items[row.item_id]
        performed = Moment(row.performed_us, row.performed_end_us)
        used = [self._use(use, performed, row.mode) for use in uses]
        if row.method is not None and row.method in self.methods:
            used.append(Use(METHOD_PREFIX + row.method, "method", performed))
        return Calibration(
            row.id,
            row.number,
            row.revision,
            row.status,
            code,
            kind,
            performed,
            bool(row.assigns_value),
            bool(row.external),
            row.mode,
            tuple(used),
            () if row.fault_corrections is None else tuple(_taken(row.fault_corrections)),
        )

    def _use(self, row: UseRow, performed: Moment, mode: str | None) -> Use:
        at = performed
        if (row.used_us, row.used_end_us) != performed:
            at = Moment(row.used_us, row.used_end_us)
        code = self.items[row.item_id][0]
        named = row.named_certificate is not None
        rest = self.histories.rest(code, at, mode, row.source_id, named=named)
        return Use(
            code,
            row.role,
            at,
            ONE if row.weight is None else _weight(row.weight),
            row.channel,
            None if row.points is None else frozenset(map(str, json.loads(row.points))),
            None if row.factor_applied is None else Fraction(row.factor_applied),
            row.source_id,
            row.evidence_id,
            rest.ranked,
            rest.doubts,
            rest.held,
        )


def _taken(text: str) -> Iterator[Taken]:
    """What was taken for each fault; of several at once what each of them did alone."""
    for one in json.loads(text):
        alone = one.get("by_fault", [one["points"]])
        # Of several at once it was not always kept which took what.
        if len(alone) != len(one["faults"]):
            continue
        for fault, window, points in zip(one["faults"], one["windows"], alone, strict=True):
            name = fault.get("item") or fault.get("certificate")
            name = METHOD_PREFIX + fault["method"] if "method" in fault else name
            paths = (tuple(path) for path in one.get("reason_paths", ()))  # not always kept
            yield Taken(
                name,
                fault.get("channel"),
                Window(
                    _instant(window["start"]),
                    _instant(window["end"]),
                    bool(window["start_inclusive"]),
                    bool(window["end_inclusive"]),
                ),
                tuple(Fraction(point["delta_rel"]) for point in points),
                tuple(Fraction(point.get("u_rel", 0)) ** 2 for point in points),
                fault["kind"],
                one["recall"],
                tuple(path for path in paths if path[0] == name),
                one.get("generation", 1),
            )


def _instant(text: str | None) -> int | None:
    return None if text is None else instant_us(text, UTC)


def _lacking(known: Mapping[int, Any], keys: Collection[int]) -> set[int]:
    """Keys that are not known; their difference as sets would walk through all that is."""
    return {key for key in keys if key not in known}


def grouped(rows: Iterator[Any]) -> dict[int, list[Any]]:
    """Rows by certificate, in the order of their record."""
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.certificate_id].append(row)
    for some in found.values():
        some.sort(key=_POSITION)
    return found


@lru_cache(maxsize=4096)
def _weight(text: str) -> Fraction | Mapping[str, Fraction]:
    weight = json.loads(text)
    if isinstance(weight, dict):
        return {point: Fraction(share) for point, share in weight.items()}
    return Fraction(weight)
