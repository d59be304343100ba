"""Who answers for something, in a body: the id of a recorded person becomes that person's name.

Wherever a body says `by`, for itself, its override or that of one of its uses. A name that is
nobody's id stands for itself: not every laboratory keeps persons, nor every person in one. Imports
tell what happened elsewhere or long ago, and keep what they say.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.services.access import persons
from api.web.transactions import reading


def named(sent: Any) -> Any:
    """Return a body as it was loaded, with names in place of ids of persons.

    Raises UnknownReference for a person who is recorded and not active any more.
    """
    places = [place for place in _places(sent) if isinstance(place.get("by"), str)]
    if places:
        with reading() as session:
            for place in places:
                place["by"] = persons.as_recorded(session, place["by"])
    return sent


def _places(sent: Any) -> Iterator[dict[str, Any]]:
    if not isinstance(sent, dict):
        return
    yield sent
    uses = sent.get("uses")
    within = [sent.get("use"), *(uses if isinstance(uses, list) else ())]
    for one in (sent, *(use for use in within if isinstance(use, dict))):
        if isinstance(one.get("override"), dict):
            yield one["override"]
