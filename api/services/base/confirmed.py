"""Are as many records meant as somebody said? Asked before all that pass a filter are decided."""

from __future__ import annotations

from api.errors import Conflict, Issue


def refuse_other_count(meant: int, said: int, what: str) -> None:
    """Refuse a decision about another number of records than was confirmed.

    Parameters
    ----------
    meant : int
        How many pass the filter now.
    said : int
        How many somebody who looked at them said.
    what : str
        What they are, such as ``certificate``.

    Raises
    ------
    Conflict
        If the two differ.

    Examples
    --------
    >>> refuse_other_count(2, 2, "alert")
    """
    if said != meant:
        detail = f"{meant} {what}(s) are meant"
        remedy = f"look at the list again; if all of them are meant, send {meant}"
        raise Conflict(
            f"{detail} and not {said}; nothing stored",
            [Issue("/count", detail, remedy, str(said))],
        )
