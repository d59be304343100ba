"""All that certificates could rest on, whichever value was in force: what is read before judging.

Those are the certificates of every item used, of all that it ever held too, and so on upwards.
Which of them carried the value, or is only not excluded, is among them, whatever is written next.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from api.store.keyed import rows_of
from api.store.reading import Reader, SessionReader


@dataclass(frozen=True, slots=True)
class Link:
    """One use: who, of what, until when, and the certificates that gave or confirmed its value."""

    certificate: int
    item: int
    until_us: int
    source: int | None
    evidence: int | None


@dataclass(slots=True)
class Upward:
    """Uses, certificates (by key: item and instant) and parts (by assembly) met on the way up."""

    uses: list[Link] = field(default_factory=list)
    certificates: dict[int, tuple[int, int]] = field(default_factory=dict)
    parts: dict[int, set[int]] = field(default_factory=dict)

    def within(self, item: int) -> set[int]:
        """Return an item and all that it ever held, directly or within another part."""
        found, frontier = {item}, {item}
        while frontier:
            frontier = {part for one in frontier for part in self.parts.get(one, ())} - found
            found |= frontier
        return found


def upward(session: Session, certificates: Collection[int], most: int | None = None) -> Upward:
    """Read what certificates could rest on; with `most` reading ends once there are more."""
    reader, found = SessionReader(session), Upward()
    frontier = set(certificates)
    known: dict[int, tuple[int, int]] = {}  # what was read by its item already
    columns = ", ".join(
        f"usage.{name}"
        for name in ("certificate_id", "item_id", "used_end_us", "source_id", "evidence_id")
    )
    while frontier and (most is None or len(found.certificates) <= most):
        keys = list(frontier)
        found.certificates.update({key: known[key] for key in keys if key in known})
        new = [key for key in keys if key not in known]
        found.certificates.update(_certificates(reader, "id", new))
        made = [Link(*row) for row in rows_of(reader, columns, "usage", "certificate_id", keys)]
        found.uses += made
        items = _with_parts(reader, found, {use.item for use in made})
        known = _certificates(reader, "item_id", list(items))
        named = {key for use in made for key in (use.source, use.evidence) if key is not None}
        frontier = (known.keys() | named) - found.certificates.keys()
    return found


def _certificates(reader: Reader, key: str, values: list[int]) -> dict[int, tuple[int, int]]:
    columns = "certificate.id, certificate.item_id, certificate.performed_us"
    rows = rows_of(reader, columns, "certificate", key, values)
    return {certificate: (item, performed) for certificate, item, performed in rows}


def _with_parts(reader: Reader, found: Upward, items: set[int]) -> set[int]:
    """Add what these items ever held; return them with all that was not known before."""
    reached, frontier = set[int](), {item for item in items if item not in found.parts}
    while frontier:
        reached |= frontier
        below: dict[int, set[int]] = defaultdict(set)
        columns = "composition.assembly_id, composition.part_id"
        for assembly, part in rows_of(
            reader, columns, "composition", "assembly_id", list(frontier)
        ):
            below[assembly].add(part)
        found.parts.update({item: below.get(item, set()) for item in frontier})
        frontier = set[int]().union(*below.values()) - found.parts.keys()
    return reached
