"""Where does a listed certificate come from? W3C PROV of the affected part of a recall.

PROV arrows point from effect to cause; the links of this project point the other way and are turned
here. Entities are certificates, items, and items as calibrated (a value of its own after each
calibration); activities the calibrations and the recall; agents the laboratory and outside issuers.
Every relation has an identifier made from what it joins, so that two documents can be compared. In
PROV-DM specializationOf and hadMember have no identifier; PROV-JSON gives them a key all the same.

Sources, from memory, verify: W3C PROV-DM (Recommendation, 2013), PROV-JSON (Member Submission,
2013). The namespaces are names, not addresses; the laboratory's own numbers keep records apart.

Not told: times of use; several uses between two entities are one, with all roles and weights.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any
from urllib.parse import quote

import networkx as nx
from prov.constants import (
    PROV,
    PROV_ACTIVITY,
    PROV_AGENT,
    PROV_ASSOCIATION,
    PROV_ATTR_ACTIVITY,
    PROV_ATTR_AGENT,
    PROV_ATTR_COLLECTION,
    PROV_ATTR_ENTITY,
    PROV_ATTR_GENERAL_ENTITY,
    PROV_ATTR_GENERATED_ENTITY,
    PROV_ATTR_INFLUENCEE,
    PROV_ATTR_INFLUENCER,
    PROV_ATTR_SPECIFIC_ENTITY,
    PROV_ATTR_USED_ENTITY,
    PROV_DERIVATION,
    PROV_ENTITY,
    PROV_GENERATION,
    PROV_INFLUENCE,
    PROV_INVALIDATION,
    PROV_MEMBERSHIP,
    PROV_SPECIALIZATION,
    PROV_USAGE,
)
from prov.identifier import Namespace, QualifiedName
from prov.model import ProvDocument

from graph.affected import HOLDING, told_together
from graph.links import CERTIFICATE, FAULT, ITEM
from graph.lists import AFFECTED, NOT_EXCLUDED

Facts = Mapping[str, Any]
TERMS = Namespace("th", "urn:tracehold:terms:")
RECORDS = Namespace("rec", "urn:tracehold:records:")
LABORATORY = "agent/laboratory"
# Facts of a node under the names that they have in the document.
_FACT_NAMES = {
    "number": "number",
    "revision": "revision",
    "issuer": "issuer",
    "item": "item",
    "list": "list",
    "generation": "generation",
    "reasons": "reasons",
    "doubts": "doubts",
    "verdict_changes": "verdictChanges",
    "could_change": "couldChange",
    "customer": "customer",
    "state": "state",
    "concerns": "concerns",
    "paths_not_shown": "pathsNotShown",
}


@dataclass(frozen=True, slots=True)
class RecallFacts:
    """What the document says about the recall itself.

    Parameters
    ----------
    number : str
        Of the recall.
    created_at : str
        An ISO 8601 instant.
    result_hash : str
        Of the stored result.
    engine_version : str
        Which maths gave the answer.
    laboratory : str, optional
        Its name.
    """

    number: str
    created_at: str
    result_hash: str
    engine_version: str
    laboratory: str | None = None


def document(part: nx.MultiDiGraph, recall: RecallFacts) -> ProvDocument:
    """Return the W3C PROV document of an affected part.

    W3C PROV-DM (Recommendation, 2013), from memory, verify.

    Parameters
    ----------
    part : networkx.MultiDiGraph
        As `graph.affected_part` gives it.
    recall : RecallFacts
        About the recall.

    Returns
    -------
    prov.model.ProvDocument
    """
    writing = _Writing(part, recall)
    writing.write()
    return writing.document


def prov_json(part: nx.MultiDiGraph, recall: RecallFacts) -> bytes:
    """Return the PROV document as PROV-JSON (Member Submission, 2013), from memory, verify.

    Parameters
    ----------
    part : networkx.MultiDiGraph
        As `graph.affected_part` gives it.
    recall : RecallFacts
        About the recall.

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    ValueError
        If nothing was written.
    """
    text = document(part, recall).serialize(format="json", indent=1)
    if text is None:  # only where a destination is given
        raise ValueError("nothing was written")
    return text.encode()


@dataclass
class _Writing:
    """One document while it is written."""

    part: nx.MultiDiGraph
    recall: RecallFacts
    document: ProvDocument = field(default_factory=ProvDocument)
    known: set[str] = field(default_factory=set)

    def write(self) -> None:
        self.document.add_namespace(TERMS)
        self.document.add_namespace(RECORDS)
        self._recall()
        kinds = {FAULT: self._fault, ITEM: self._item, CERTIFICATE: self._certificate}
        for node, facts in self.part.nodes(data=True):
            kinds[facts["kind"]](node, facts)
        for cause, effect in dict.fromkeys(self.part.edges()):
            self._link(cause, effect, told_together(self.part, cause, effect))
        self._revisions()

    def _recall(self) -> None:
        activity = self._recall_id()
        named: dict[str, Any] = {"prov:type": _term("Laboratory")}
        if self.recall.laboratory:
            named["prov:label"] = self.recall.laboratory
        self._record(PROV_AGENT, LABORATORY, {}, named)
        more = {
            "prov:type": _term("Recall"),
            "prov:label": self.recall.number,
            "th:resultHash": self.recall.result_hash,
            "th:engineVersion": self.recall.engine_version,
        }
        self._record(PROV_ACTIVITY, activity, {}, more)
        self._associate(activity, LABORATORY)

    def _fault(self, node: str, facts: Facts) -> None:
        self._record(PROV_ENTITY, node, {}, _named("Fault", facts))
        self._use(self._recall_id(), node, {"role": FAULT})

    def _item(self, node: str, facts: Facts) -> None:
        item = f"item/{quote(facts['item'], safe='')}"
        self._record(PROV_ENTITY, item, {}, _named("Item", {"label": facts["item"]}))
        self._record(PROV_ENTITY, node, {}, _named("ItemState", facts))
        ends = {PROV_ATTR_SPECIFIC_ENTITY: node, PROV_ATTR_GENERAL_ENTITY: item}
        self._record(PROV_SPECIALIZATION, f"specialization/{node}", ends)

    def _certificate(self, node: str, facts: Facts) -> None:
        self._record(PROV_ENTITY, node, {}, _named("Certificate", facts))
        calibration = _calibration(facts)
        more = {"prov:type": _term("Calibration"), "th:item": facts["item"]}
        self._record(PROV_ACTIVITY, calibration, {}, more)
        self._associate(calibration, self._agent(facts))
        ends = {PROV_ATTR_ENTITY: node, PROV_ATTR_ACTIVITY: calibration}
        self._record(PROV_GENERATION, f"generation/{node}", ends)
        if facts["list"] == AFFECTED:
            ends = {PROV_ATTR_ENTITY: node, PROV_ATTR_ACTIVITY: self._recall_id()}
            name = f"invalidation/{node}/{self._recall_id()}"
            self._record(PROV_INVALIDATION, name, ends, {"prov:time": self.recall.created_at})

    def _agent(self, facts: Facts) -> str:
        if not facts.get("external"):
            return LABORATORY
        issuer = facts.get("issuer", "not recorded")
        agent = f"agent/issuer/{quote(issuer, safe='')}"
        named = {"prov:type": _term("CalibrationBody"), "prov:label": issuer}
        self._record(PROV_AGENT, agent, {}, named)
        return agent

    def _link(self, cause: str, effect: str, facts: Facts) -> None:
        """Turn one link of the graph around."""
        before, after = self.part.nodes[cause], self.part.nodes[effect]
        ends = {PROV_ATTR_GENERATED_ENTITY: effect, PROV_ATTR_USED_ENTITY: cause}
        if after.get("list") == NOT_EXCLUDED:
            # Nobody knows that it was used, so that neither use nor derivation is claimed.
            ends = {PROV_ATTR_INFLUENCEE: effect, PROV_ATTR_INFLUENCER: cause}
            more = {"prov:type": _term("MayRestOn"), "th:reasons": after["reasons"]}
            self._record(PROV_INFLUENCE, f"influence/{effect}/of/{cause}", ends, more)
            return
        if after["kind"] == CERTIFICATE:
            calibration = _calibration(after)
            self._use(calibration, cause, facts)
            ends[PROV_ATTR_ACTIVITY] = calibration
        elif after["state"] == HOLDING:
            ends = {PROV_ATTR_COLLECTION: effect, PROV_ATTR_ENTITY: cause}
            self._record(PROV_MEMBERSHIP, f"membership/{effect}", ends)
            return
        elif before["kind"] == FAULT:
            ends = {PROV_ATTR_INFLUENCEE: effect, PROV_ATTR_INFLUENCER: cause}
            self._record(PROV_INFLUENCE, f"influence/{effect}", ends)
            return
        self._record(PROV_DERIVATION, f"derivation/{effect}/from/{cause}", ends)

    def _revisions(self) -> None:
        """Join each listed revision to the listed one before it."""
        found: dict[tuple[str, str], list[tuple[int, str]]] = {}
        for node, facts in self.part.nodes(data=True):
            if facts["kind"] == CERTIFICATE:
                key = facts.get("issuer", ""), facts["number"]
                found.setdefault(key, []).append((facts["revision"], node))
        for one in found.values():
            for (_, before), (_, after) in pairwise(sorted(one)):
                ends = {PROV_ATTR_GENERATED_ENTITY: after, PROV_ATTR_USED_ENTITY: before}
                more = {"prov:type": PROV["Revision"]}
                self._record(PROV_DERIVATION, f"revision/{after}", ends, more)

    def _use(self, activity: str, entity: str, facts: Facts) -> None:
        names = {"role": "prov:role", "weight": "th:weight"}
        more = {names[name]: value for name, value in facts.items()}
        ends = {PROV_ATTR_ACTIVITY: activity, PROV_ATTR_ENTITY: entity}
        self._record(PROV_USAGE, f"use/{activity}/of/{entity}", ends, more)

    def _associate(self, activity: str, agent: str) -> None:
        ends = {PROV_ATTR_ACTIVITY: activity, PROV_ATTR_AGENT: agent}
        self._record(PROV_ASSOCIATION, f"association/{activity}", ends)

    def _recall_id(self) -> str:
        return f"recall/{quote(self.recall.number, safe='')}"

    def _record(
        self,
        kind: QualifiedName,
        name: str,
        ends: Mapping[QualifiedName, str],
        more: Mapping[str, Any] | None = None,
    ) -> None:
        """Write one record; one that stands there already, as an item used twice, is kept."""
        if name not in self.known:
            self.known.add(name)
            joined = {end: RECORDS[target] for end, target in ends.items()}
            self.document.new_record(kind, RECORDS[name], joined, dict(more or {}))


def _calibration(facts: Facts) -> str:
    """Name of the calibration of a certificate, which all its revisions share."""
    parts = ("calibration", facts.get("issuer"), facts["number"])
    return "/".join(quote(part, safe="") for part in parts if part)


def _named(kind: str, facts: Facts) -> dict[str, Any]:
    """Type, label and own facts of an entity."""
    made: dict[str, Any] = {"prov:type": _term(kind), "prov:label": facts["label"]}
    for name, shown in _FACT_NAMES.items():
        if name in facts:
            made[f"th:{shown}"] = facts[name]
    return made


def _term(name: str) -> QualifiedName:
    return TERMS[name]
