"""Entries of small recalls written as paths, with the links by key that stand beside such entries.

Numbers are told apart by hand: in these recalls a number that is followed by the item of its entry
is a certificate, the first entry under it is meant, and no two of them mean different things.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Json = dict[str, Any]


def entry(
    number: str, item: str, *paths: Sequence[str], listed: str = "affected", **more: Any
) -> Json:
    """One entry in one list, reached by these paths."""
    made: Json = {"certificate": number, "revision": 0, "item": item, "class": listed}
    made |= {"generation": 1, "reason_paths": [list(path) for path in paths]}
    return made | {"path_count": len(paths), "verdict_changes": False} | more


def keyed(
    faults: Sequence[Mapping[str, Any]],
    entries: Sequence[Json],
    uses: Mapping[str, Sequence[Json]] | None = None,
) -> tuple[Sequence[Mapping[str, Any]], dict[int, Json], dict[int, list[Json]]]:
    """Faults, entries by key and links by key; `uses` by number say role and weight of an item."""
    by_key = dict(enumerate(entries, 1))
    firsts: dict[str, int] = {}
    for key, one in by_key.items():
        firsts.setdefault(one["certificate"], key)
    links: dict[int, list[Json]] = {}
    for key, one in by_key.items():
        for path in one.get("reason_paths", ()):
            cause, names = _last(path, by_key, firsts)
            used = names[0].split(":")[0] if len(names) == 2 and ":" in names[0] else names[-1]
            told = [(n, u) for n, u in enumerate((uses or {}).get(one["certificate"], ()))
                    if u["item"] == used]  # fmt: skip
            for place, use in told or [(None, {})]:
                link = {"fault": _fault(path, faults), "cause": cause, "names": names, "use": place}
                facts = {name: use[name] for name in ("role", "weight", "at_us") if name in use}
                links.setdefault(key, []).append(link | facts)
    return faults, by_key, links


def _last(
    path: Sequence[str], by_key: Mapping[int, Json], firsts: Mapping[str, int]
) -> tuple[int | None, list[str]]:
    for place in range(len(path) - 2, 0, -1):
        key = firsts.get(path[place])
        if key is not None and path[place + 1] == by_key[key]["item"]:
            return key, list(path[place + 1 : -1])
    return None, list(path[:-1])


def _fault(path: Sequence[str], faults: Sequence[Mapping[str, Any]]) -> int:
    """The fault that is named as the path begins; a channel before its item."""
    begins = [
        {f"method:{one.get('method')}", one.get("certificate"), one.get("item")}
        if one.get("channel") is None
        else {f"{one['item']}:{one['channel']}"}
        for one in faults
    ]
    return next(place for place, names in enumerate(begins) if path[0] in names)
