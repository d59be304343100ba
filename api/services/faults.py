"""What a reported fault concerns: an item, a certificate or a method, and who met it directly."""

from __future__ import annotations

import json
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from api.errors import InvalidRecord, Issue, NotFound, UnknownReference
from api.services.fault_kinds import build
from api.services.holdings import holdings_above
from api.services.loaded import Record
from api.services.numbered import of_one_issuer, the_one
from api.store.records import ItemRow
from api.store.sources import Source
from graph.faults import Fault
from graph.parts import holders
from graph.suspects import SuspectWindow

METHOD_PREFIX = "method:"


@dataclass(frozen=True, slots=True)
class Reported:
    """One fault with its widest window, and the keys of what it is met through.

    `item_key` is None for a fault of a certificate or a method. `direct` are the certificates that
    ever used what is faulty.
    """

    fault: Fault
    case: SuspectWindow
    direct: frozenset[int]
    item_key: int | None = None
    item_keys: frozenset[int] = frozenset()
    kind: str | None = None
    method: str | None = None


def report(
    source: Source, fault: Record, zone: ZoneInfo, as_of_us: int | None, place: str
) -> Reported:
    """Resolve one fault; its window is not narrowed yet.

    A fault that has not ended lasts until `as_of_us`, or stays open if that is None.

    Raises
    ------
    UnknownReference
        If what is faulty is not recorded.
    InvalidRecord
        If the times contradict each other or the channel does not exist.
    """
    if "method" in fault:
        method = fault["method"]
        found = build(fault, zone, as_of_us, place, name=METHOD_PREFIX + method)
        users = source.certificates_by_method(method)
        return Reported(
            found, SuspectWindow(found, found.window()), frozenset(users), method=method
        )
    if "certificate" in fault:
        return _of_certificate(source, fault, zone, as_of_us, place)
    item = source.item(fault["item"])
    if item is None:
        issue = Issue(
            f"{place}/item",
            f'item "{fault["item"]}" is not recorded',
            "name a recorded item; GET /v1/items lists them",
            fault["item"],
        )
        raise UnknownReference("a fault on an unknown item", [issue])
    _refuse_unknown_channel(item, fault, place)
    found = build(fault, zone, as_of_us, place, name=item.code)
    held = holders(item.code, holdings_above(source, [item.code]))
    codes = {item.code, *(holder.assembly for holder in held)}
    keys = frozenset(source.item_keys(codes))
    users = source.users_of_items(keys)
    case = SuspectWindow(found, found.window(), held)
    return Reported(found, case, frozenset(users), item.id, keys, item.kind)


def _of_certificate(
    source: Source, fault: Record, zone: ZoneInfo, as_of_us: int | None, place: str
) -> Reported:
    number = fault["certificate"]
    try:
        numbered = of_one_issuer(source.numbered(number), number, fault.get("issuer"))
        wrong = the_one(numbered, number, fault.get("revision"))
    except NotFound as missing:
        remedy = "name a recorded certificate; GET /v1/certificates lists them"
        issue = Issue(f"{place}/certificate", missing.detail, remedy, number)
        raise UnknownReference("a fault on an unknown certificate", [issue]) from missing
    found = build(fault, zone, as_of_us, place, name=number, certificate=wrong.id)
    users = source.users_of_certificate(wrong.id)
    return Reported(found, SuspectWindow(found, found.window()), frozenset(users))


def _refuse_unknown_channel(item: ItemRow, fault: Record, place: str) -> None:
    channel = fault.get("channel")
    channels = None if item.channels is None else json.loads(item.channels)
    if channel is None or not channels or channel in channels:
        return
    issue = Issue(
        f"{place}/channel",
        f'"{item.code}" has no channel "{channel}"',
        f"its channels are {', '.join(channels)}",
        channel,
    )
    raise InvalidRecord("a fault on an unknown channel", [issue])
