"""What the API is asked to refuse: something of each operation, and right requests bent."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

from tests.bench.answers_api import NAMED
from tests.bench.answers_trial import Trial

_OTHERS = ("list_name", "position")


def refuse(trial: Trial, document: dict[str, Any]) -> None:
    """Let each operation refuse: no key, too little scope, nothing there, a wrong query or body."""
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            if method == "parameters":
                continue
            address = path.format_map({place: _nobody(place) for place in [*NAMED, *_OTHERS]})
            sent = {"note": "refused"}
            trial.ask(method.upper(), address, key=None, **sent)
            trial.ask(method.upper(), address, key="customer", **sent)
            scope = "read" if operation.get("x-scope") != "read" else "decide"
            trial.ask(method.upper(), address, key=scope, **sent)
            if "requestBody" not in operation:
                trial.ask(method.upper(), address, **sent)
            else:
                for body in ({}, [], {"zzz": 1}, b"{", b'{"id": NaN}'):
                    headers = {"If-Match": '"1"'}
                    trial.ask(method.upper(), address, body, headers=headers, **sent)
            for one in operation.get("parameters", []):
                if one.get("in") == "query":
                    trial.ask(method.upper(), f"{address}?{one['name']}=%3D1", **sent)
            trial.ask(method.upper(), f"{address}?zzz=1", **sent)


def _nobody(place: str) -> str:
    return {"list_name": "zzz", "position": "99"}.get(place, "987654")


def bend(trial: Trial) -> None:
    """Send each right body again with each of its places left out, or of another type."""
    whole = {(method, path, json.dumps(body)): body for method, path, body in trial.bodies}
    known: set[str] = set()
    for (method, path, _), body in whole.items():
        headers = {"If-Match": '"1"'} if method == "PATCH" else {}
        for place in _places(body):
            # Of a long list one entry is like another.
            if len(place) > 1 and any(isinstance(one, int) and one > 0 for one in place):
                continue
            kind = f"{method} {trial.operation(method, path)} {place} {body.get('fault', {})}"
            if kind in known:
                continue
            known.add(kind)
            for how, bent in (("without", _without(body, place)), ("odd", _odd(body, place))):
                note = f"{how} /{'/'.join(map(str, place))}"
                trial.ask(method, path, bent, headers=headers, note=note)


def _places(value: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    parts: Any = ()
    if isinstance(value, dict):
        parts = value.items()
    elif isinstance(value, list):
        parts = enumerate(value)
    for key, part in parts:
        yield (*path, key)
        yield from _places(part, (*path, key))


def _holder(body: Any, place: tuple[str | int, ...]) -> Any:
    for step in place[:-1]:
        body = body[step]
    return body


def _without(body: Any, place: tuple[str | int, ...]) -> Any:
    bent = copy.deepcopy(body)
    del _holder(bent, place)[place[-1]]
    return bent


def _odd(body: Any, place: tuple[str | int, ...]) -> Any:
    bent = copy.deepcopy(body)
    holder = _holder(bent, place)
    holder[place[-1]] = {"odd": []} if isinstance(holder[place[-1]], str) else "=odd"
    return bent
