"""A laboratory file as a graph: who rests on whom, for a script and every algorithm of networkx.

The file is the JSON form of an import. What each use rested on is resolved here as the store
resolves it when records are written: the certificate that the use names, else the one in force at
the time; what an assembly held; what may have been in force instead.

Not read: results. So a doubt by range, which needs forces, is not shown. Nothing is checked that an
import checks; what cannot be read is refused with its place.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import networkx as nx

from graph.affected import Facts, Identity, certificate_node, readable
from graph.compound import Assemblies, Part
from graph.in_force import Candidate
from graph.links import CERTIFICATE
from graph.model import ONE, Calibration, Holding, Use
from graph.moments import BadMoment, Moment, moment, text_of, time_zone
from graph.serving import Revision, Serves
from graph.serving import serving as when_serving
from graph.traceability import date_holdings, in_order_of_dependence, reached

Json = Mapping[str, Any]


class BadLaboratory(ValueError):
    """A laboratory file that cannot be read as a graph; the message names place and remedy."""


def build(laboratory: Json | Path) -> nx.MultiDiGraph:
    """Return the graph of a laboratory file.

    Nodes have a `kind` and a `label`: "certificate" (`number, revision, issuer, item, status, at`,
    and `customer`, `mode`, `external` where recorded), "item" (an item as a certificate left it, or
    what held it then; `item, state`) and "channel" (`channel` too). Edges run from cause to effect
    and have a `kind`: "assigned" from a certificate to the item that it gave a value (`at`), "held"
    from a part to what held it (`from`, `until`) and from an item to its channel, "used" from there
    to the certificate of the calibration; "confirmed" where the latest calibration only confirmed
    limits, "may" where it may have been in force instead. These last three carry `role`, `at`,
    `until` (of a bare date), `weight` (text; JSON where it has one for each point), `channel` and
    `share` (of a part).

    Parameters
    ----------
    laboratory : mapping or pathlib.Path
        The document, or the file that holds it.

    Returns
    -------
    networkx.MultiDiGraph
        In order of the names.

    Raises
    ------
    BadLaboratory
        If a record lacks what the graph needs.
    CyclicTrace
        If a calibration rests on itself.

    Examples
    --------
    >>> at = {"performed_at": "2025-02-01T10:00:00Z"}
    >>> use = {"item": "WS-20", "role": "force_reference"}
    >>> graph = build({"calibrations": [
    ...     {"certificate": "W-202", "item": "WS-20", **at},
    ...     {"certificate": "D-303", "item": "I-1", "performed_at": "2025-03-01", "uses": [use]}]})
    >>> nx.shortest_path(graph, "certificate/W-202/0", "certificate/D-303/0")
    ['certificate/W-202/0', 'item/WS-20/as/W-202/0', 'certificate/D-303/0']
    """
    if isinstance(laboratory, Path):
        laboratory = json.loads(laboratory.read_text("utf-8"), parse_float=Decimal)
    if not isinstance(laboratory, Mapping):
        raise BadLaboratory('not a laboratory; send an object with "items" and "calibrations"')
    records = _Records(laboratory)
    made = sorted(records.calibrations(), key=lambda one: (one.performed, one.key))
    graph = reached(made)
    date_holdings(graph, records.holdings())
    in_order_of_dependence(graph)  # refuses a circle
    return readable(graph, records.certificate)


@dataclass(slots=True)
class _Records:
    """The records of one file; a certificate's key is its place among the calibrations."""

    laboratory: Json
    zone: ZoneInfo = field(init=False)
    revisions: Sequence[Json] = field(init=False)
    candidates: dict[str, list[Candidate]] = field(default_factory=dict)
    valued: dict[str, list[Candidate]] = field(default_factory=dict)
    confirming: dict[str, list[Candidate]] = field(default_factory=dict)
    assemblies: Assemblies = field(init=False)

    def __post_init__(self) -> None:
        self.zone = time_zone(self.laboratory.get("time_zone", "UTC"))
        self.revisions = _list(self.laboratory, "calibrations")
        for key, one in enumerate(self.revisions):
            for name in ("certificate", "item", "performed_at"):
                _needed(one, name, f"/calibrations/{key}")
        for candidate, one in zip(self._candidates(), self.revisions, strict=True):
            self.candidates.setdefault(one["item"], []).append(candidate)
            kind = self.valued if one.get("assigns_value", True) else self.confirming
            kind.setdefault(one["item"], []).append(candidate)
        self.assemblies = Assemblies(self._parts(), self.valued, self.confirming)

    def calibrations(self) -> Iterator[Calibration]:
        """Every revision with its uses, resolved."""
        for key, one in enumerate(self.revisions):
            performed = self._moment(one["performed_at"], f"/calibrations/{key}/performed_at")
            uses = tuple(
                self._use(use, one, performed, f"/calibrations/{key}/uses/{place}")
                for place, use in enumerate(_list(one, "uses"))
            )
            yield Calibration(
                key,
                one["certificate"],
                one.get("revision", 0),
                one.get("status", "issued"),
                one["item"],
                None,
                performed,
                one.get("assigns_value", True),
                one.get("external", False),
                one.get("mode"),
                uses,
            )

    def certificate(self, key: int) -> tuple[str, Facts]:
        """Name and facts of a certificate."""
        one = self.revisions[key]
        number, revision, issuer = one["certificate"], one.get("revision", 0), one.get("issuer")
        facts = {
            "kind": CERTIFICATE,
            "label": f"{number} rev. {revision}" if revision else number,
            "number": number,
            "revision": revision,
            "issuer": issuer,
            "item": one["item"],
            "status": one.get("status", "issued"),
            "at": text_of(self._performed(key).start_us),
            **{name: one.get(name) for name in ("customer", "mode", "external")},
        }
        told = {name: value for name, value in facts.items() if value is not None}
        return certificate_node(Identity(issuer or "", number, revision)), told

    def holdings(self) -> dict[tuple[str, str], list[Holding]]:
        """Every stay of a part in an assembly, by assembly and part."""
        found: dict[tuple[str, str], list[Holding]] = {}
        for some in self.assemblies.parts.values():
            for one in some:
                stay = one.holding
                found.setdefault((stay.assembly, stay.part), []).append(stay)
        return found

    def _use(self, use: Json, using: Json, performed: Moment, place: str) -> Use:
        item, role = _needed(use, "item", place), _needed(use, "role", place)
        at = performed
        if "performed_at" in use:
            at = self._moment(use["performed_at"], f"{place}/performed_at")
        mode = using.get("mode")
        named = "certificate" in use
        in_force = self._named(use, at) if named else self._in_force(item, at, mode)
        own_us = None if in_force is None else in_force.performed_us
        return Use(
            item,
            role,
            at,
            _weight(use.get("weight"), f"{place}/weight"),
            use.get("channel"),
            source=None if in_force is None else in_force.key,
            evidence=None if named else self.assemblies.evidence(item, at, mode),
            doubts=() if named else tuple(self.assemblies.doubts(item, at, mode)),
            held=self.assemblies.held(item, at, mode, own_us),
        )

    def _in_force(self, item: str, at: Moment, mode: str | None) -> Candidate | None:
        return next(iter(self.assemblies.ranked(item, at, mode)), None)

    def _named(self, use: Json, at: Moment) -> Candidate | None:
        """The certificate of this name: issued, else in force at the use, else the newest."""
        found = [
            one
            for one in self.candidates.get(use["item"], ())
            if self.revisions[one.key]["certificate"] == use["certificate"]
            and use.get("revision") in (None, one.order[1])
        ]
        found.sort(key=lambda one: one.order[1], reverse=True)
        issued = [one for one in found if self._status(one.key) == "issued"]
        return next(iter([*issued, *(one for one in found if one.serves(at.end_us)), *found]), None)

    def _status(self, key: int) -> str:
        status: str = self.revisions[key].get("status", "issued")
        return status

    def _performed(self, key: int) -> Moment:
        return self._moment(
            self.revisions[key]["performed_at"], f"/calibrations/{key}/performed_at"
        )

    def _candidates(self) -> Iterable[Candidate]:
        """Every revision as far as it may serve uses, in the order of the file."""
        of_number: dict[tuple[str, str], list[int]] = {}
        for key, one in enumerate(self.revisions):
            of_number.setdefault((one.get("issuer", ""), one["certificate"]), []).append(key)
        found: dict[int, Candidate] = {}
        for keys in of_number.values():
            serves = when_serving([self._revision(key) for key in keys])
            first = min(self.revisions[key].get("revision", 0) for key in keys)
            for key, when in zip(keys, serves, strict=True):
                found[key] = self._candidate(key, when, first)
        return [found[key] for key in range(len(self.revisions))]

    def _revision(self, key: int) -> Revision:
        one = self.revisions[key]
        issued, voided = (self._instant(key, name) for name in ("issued_at", "voided_at"))
        return Revision(
            one.get("revision", 0),
            self._status(key),
            self._performed(key).start_us,
            None if issued is None else issued.start_us,
            None if voided is None else voided.end_us,
        )

    def _candidate(self, key: int, when: Serves, first: int) -> Candidate:
        one, revision = self.revisions[key], self._revision(key)
        from_us = when.from_us
        undated = revision.status == "voided" and revision.voided_us is None
        if undated:  # were it issued, it would have served from there
            is_first = revision.revision == first
            from_us = revision.performed_us
            if not is_first and revision.issued_us is not None:
                from_us = revision.issued_us
        order = revision.performed_us, revision.revision, one["certificate"]
        return Candidate(key, order, one.get("mode"), from_us, when.until_us, undated)

    def _parts(self) -> dict[str, list[Part]]:
        kinds = {one.get("id"): one.get("kind", "") for one in _list(self.laboratory, "items")}
        found: dict[str, list[Part]] = {}
        for place, one in enumerate(_list(self.laboratory, "composition")):
            at = f"/composition/{place}"
            assembly, part = _needed(one, "assembly", at), _needed(one, "part", at)
            start = self._moment(_needed(one, "from", at), f"{at}/from").start_us
            until = None
            if one.get("until"):
                gone = self._moment(one["until"], f"{at}/until")
                until = gone.end_us + 1 if gone.date_only else gone.start_us
            share = None if one.get("share") is None else Fraction(str(one["share"]))
            holding = Holding(assembly, part, start, until)
            found.setdefault(assembly, []).append(Part(holding, kinds.get(part, ""), share))
        return found

    def _instant(self, key: int, name: str) -> Moment | None:
        value = self.revisions[key].get(name)
        return None if value is None else self._moment(value, f"/calibrations/{key}/{name}")

    def _moment(self, value: Any, place: str) -> Moment:
        try:
            return moment(str(value), self.zone)
        except BadMoment as error:
            raise BadLaboratory(f"{place}: {error}") from error


def _list(record: Json, name: str) -> Sequence[Json]:
    found: Sequence[Json] = record.get(name) or ()
    return found


def _needed(record: Json, name: str, place: str) -> str:
    value = record.get(name)
    if not isinstance(value, str) or not value:
        raise BadLaboratory(f"{place}/{name}: {value!r} is not a text; name the {name}")
    return value


def _weight(value: Any, place: str) -> Fraction | Mapping[str, Fraction]:
    try:
        if value is None:
            return ONE
        if isinstance(value, Mapping):
            return {point: Fraction(str(share)) for point, share in value.items()}
        return Fraction(str(value))
    except ValueError as error:
        raise BadLaboratory(f"{place}: {value!r} is not a number; send a decimal") from error
