"""Lists as data frames: for a notebook, a plot, a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from api.client.wire import Json

if TYPE_CHECKING:
    import pandas as pd


class FrameCalls:
    """What a client makes of lists that it was answered."""

    @staticmethod
    def frame(answers: Iterable[Json]) -> pd.DataFrame:
        """Return a list as a data frame of pandas, a record in each row.

        Parameters
        ----------
        answers : iterable of mapping
            Records, such as ``client.certificates()`` or ``client.batch(rows)["rows"]``.

        Returns
        -------
        pandas.DataFrame
            Columns in the order in which fields come; a field of a field is called as
            ``limits.lower``, and a list stays a list. Cells are what was answered, so that no digit
            is lost: numbers are text or Decimals until they are made others
            (``frame["U"].astype(float)``), and what is absent is None. No records make a frame
            without columns.

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.

        Examples
        --------
        >>> from api.client import Client
        >>> frame = Client.frame([{"id": "D-1", "limits": {"lower": "9.0"}}, {"id": "D-2"}])
        >>> list(frame.columns), frame["limits.lower"].tolist()
        (['id', 'limits.lower'], ['9.0', None])
        """
        import pandas as pd

        rows = [dict(_flat(answer, "")) for answer in answers]
        names = dict.fromkeys(name for row in rows for name in row)
        cells = {name: [row.get(name) for row in rows] for name in names}
        return pd.DataFrame(cells, index=range(len(rows)), dtype=object)


def _flat(record: Json, before: str) -> Iterator[tuple[str, Any]]:
    for name, value in record.items():
        if isinstance(value, Mapping) and value:
            yield from _flat(value, f"{before}{name}.")
        else:
            yield before + name, value
