"""Right requests with one to three places bent: gone, of another type, extreme, or where they do
not belong.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from hypothesis import strategies as st

LONG = "9" * 400
WEIRD = [
    *(None, True, False, 0, -1, 2**63, 2**70, 1e308, -0.0, 0.1, [], {}, [[]], {"a": {}}),
    *("", " ", "0", "-0", "1e999999999", "1e-999999999", "NaN", "Infinity", "-inf", LONG),
    *(f"0.{LONG}", "1.2.3", "1,5", "½", "٣", "\u202e", "\x00", "a\nb", "'; DROP TABLE item; --"),
    *("=1+1", "../../etc", "REF-500A", "MV-25-0075", "guard_U", "kN", "t", "2025-02-30"),
    *("2025-01-01T00:00:00", "9999-12-31T23:59:59Z", "0001-01-01", "2025-03-30T02:30:00+99:00"),
    *("x" * 5_000, ["a"] * 300, {"k" * 300: 1}, "\ud800"),
]


def places(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Every place in a JSON value, the whole of it included."""
    found = [path]
    parts: Any = ()
    if isinstance(value, dict):
        parts = value.items()
    elif isinstance(value, list):
        parts = enumerate(value)
    for key, part in parts:
        found += places(part, (*path, key))
    return found


def _weird() -> st.SearchStrategy[Any]:
    # Copies: what is bent further must not change what the next one draws.
    return st.sampled_from(WEIRD).map(deepcopy)


@st.composite
def bent(draw: st.DrawFn, body: Any) -> Any:
    """A body with some places bent."""
    made = deepcopy(body)
    for _ in range(draw(st.integers(1, 3))):
        path = draw(st.sampled_from(places(made)))
        how = draw(st.sampled_from(["replace", "remove", "add", "repeat"]))
        if not path:
            if how == "replace" and draw(st.booleans()):
                made = draw(_weird())
            continue
        *above, last = path
        holder = made
        for step in above:
            holder = holder[step]
        if how == "replace":
            holder[last] = draw(_weird())
        elif how == "remove":
            del holder[last]
        elif how == "add" and isinstance(holder, dict):
            name = draw(st.sampled_from(["unit", "note", "zzz", "", "U", "k"]))
            holder[name] = draw(_weird())
        elif how == "repeat" and isinstance(holder, list):
            holder.append(deepcopy(holder[last]))
    return made
