"""Reads along the resolved links between certificates, upwards and downwards, level by level.

What only recording and verification ask of them is in `api.store.link_checks`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import NamedTuple

from api.store.keyed import rows_of
from api.store.reading import Reader

Span = tuple[int | None, int | None]
# Longer than any bare date lasts, however the clocks of its zone were changed.
LONGEST_DAY_US = 3 * 86_400_000_000
# Every text that the column holds: few, and each found by one step in the index.
_TEXTS_OF_ROLES = """
    WITH RECURSIVE texts (roles) AS (
        SELECT min(roles) FROM certificate
        UNION ALL
        SELECT (SELECT min(next.roles) FROM certificate AS next WHERE next.roles > texts.roles)
        FROM texts WHERE texts.roles IS NOT NULL
    )
    SELECT roles FROM texts WHERE roles IS NOT NULL
"""


def role_mark(role: str) -> str:
    """Return a role as the column ``certificate.roles`` holds it.

    The marks keep one role from matching in another.

    >>> role_mark("adapter")
    '|adapter|'
    """
    return f"|{role.replace('|', '/')}|"


class RoleSpan(NamedTuple):
    """Certificates of ours with these roles: the first and last instant of any of them."""

    roles: str
    first_us: int
    last_us: int


class Window(NamedTuple):
    """A time in which a certificate that names nothing in these roles is of concern."""

    first_us: int | None
    last_us: int | None
    roles: tuple[str, ...]

    def holds(self, span: RoleSpan) -> bool:
        """Whether certificates of a span could lie in it and lack its roles."""
        after = self.first_us is None or span.last_us >= self.first_us
        before = self.last_us is None or span.first_us <= self.last_us
        return after and before and not any(role_mark(one) in span.roles for one in self.roles)


class Met(NamedTuple):
    """Uses of an item by which a fault is met: on a channel, or in a time.

    `channel` None means any, and a use that names none may have been on each. `until_us` is
    exclusive; a bound that is None is open.
    """

    item: str
    channel: str | None
    from_us: int | None
    until_us: int | None


def users_of_items(reader: Reader, items: Collection[int]) -> set[int]:
    """Certificates that ever used one of these items."""
    return {key for (key,) in rows_of(reader, "usage.certificate_id", "usage", "item_id", items)}


def users_of_certificate(reader: Reader, certificate: int) -> set[int]:
    """Certificates that took a value from this one."""
    users = rows_of(reader, "usage.certificate_id", "usage", "source_id", [certificate])
    return {key for (key,) in users}


def certificates_by_method(reader: Reader, method: str) -> set[int]:
    """Certificates whose calibration recorded this method."""
    return {key for (key,) in rows_of(reader, "certificate.id", "certificate", "method", [method])}


def roles_of(reader: Reader, items: Collection[int]) -> set[str]:
    """Roles in which these items were ever used."""
    return {role for (role,) in rows_of(reader, "DISTINCT usage.role", "usage", "item_id", items)}


def roles_met(reader: Reader, ways: Iterable[Met]) -> set[str]:
    """Roles that any of these uses had."""
    found = set[str]()
    for one in ways:
        also, bounds = "JOIN usage ON usage.item_id = item.id WHERE 1 = 1", list[str | int]()
        for condition, bound in (
            ("(usage.channel IS NULL OR usage.channel = ?)", one.channel),
            ("usage.used_end_us >= ?", one.from_us),
            ("usage.used_us < ?", one.until_us),
        ):
            if bound is not None:
                also += f" AND {condition}"
                bounds.append(bound)
        columns = "DISTINCT usage.role"
        rows = rows_of(reader, columns, "item", "code", [one.item], also, bounds)
        found.update(role for (role,) in rows)
    return found


def lacking_roles(reader: Reader, roles: Collection[str], window: Span) -> list[int]:
    """Our own certificates of the window, of whose uses none has one of the roles."""
    marks = [role_mark(role) for role in roles]
    texts = [text for (text,) in reader.rows(_TEXTS_OF_ROLES)]
    lacking = [text for text in texts if not any(mark in text for mark in marks)]
    also = "WHERE NOT certificate.external"
    bounds: list[int] = []
    first, last = window
    if first is not None:
        # The first comparison is for the index, the second for the bare dates.
        also += " AND certificate.performed_us >= ? AND certificate.performed_end_us >= ?"
        bounds += [first - LONGEST_DAY_US, first]
    if last is not None:
        also += " AND certificate.performed_us <= ?"
        bounds.append(last)
    found = rows_of(reader, "certificate.id", "certificate", "roles", lacking, also, bounds)
    return [key for (key,) in found]


def everything_downward(reader: Reader, certificates: Iterable[int]) -> set[int]:
    """These certificates and all that could rest on them, level by level.

    Whoever merely used an item whose latest calibration confirmed limits is reached, but nothing is
    followed from there: such exposure goes one step.
    """
    reached = set(certificates)
    ends = set[int]()
    frontier = set(reached)
    while frontier:
        at_once = sorted(frontier)
        users = rows_of(reader, "usage.certificate_id", "usage", "source_id", at_once)
        below = {key for (key,) in users}
        exposed = rows_of(reader, "usage.certificate_id", "usage", "evidence_id", at_once)
        ends.update(key for (key,) in exposed)
        frontier = below - reached
        reached |= frontier
    return reached | ends


def items_upward(reader: Reader, certificates: Iterable[int]) -> set[int]:
    """Keys of all items that these certificates rest on, directly or through others."""
    frontier, seen, items = set(certificates), set[int](), set[int]()
    while frontier:
        seen |= frontier
        columns = "usage.item_id, usage.source_id"
        used = list(rows_of(reader, columns, "usage", "certificate_id", sorted(frontier)))
        items.update(item for item, _ in used)
        frontier = {source for _, source in used if source is not None} - seen
    return items


def certificate_in_force(
    reader: Reader, item: int, at_us: int, mode: str | None = None
) -> int | None:
    """Key of the certificate whose value an item carries at this instant, if any.

    With a mode those of the other mode are left out.
    """
    statement = (
        "SELECT id FROM certificate WHERE item_id = ? AND assigns_value AND performed_us <= ? "
        "AND serves_from_us <= ? AND (serves_until_us IS NULL OR serves_until_us > ?) "
    )
    parameters: list[int | str] = [item, at_us, at_us, at_us]
    if mode is not None:
        statement += "AND (mode IS NULL OR mode = ?) "
        parameters.append(mode)
    statement += "ORDER BY performed_us DESC, revision DESC, number DESC LIMIT 1"
    return next((key for (key,) in reader.rows(statement, parameters)), None)
