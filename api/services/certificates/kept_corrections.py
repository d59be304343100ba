"""What was taken from a corrected revision, and stays taken from one that follows it.

A revision that is written by hand after a corrected one, for a customer's name say, states the
corrected figures again. It must say so, or a later look at the fault would take the fault from them
a second time, or find nothing to give back. Where every error is that of an earlier revision that
is known without asking; otherwise the record says whether its figures are corrected ones
(`keeps_corrections`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from api.services.base.record import Record
from api.services.base.recording import Recording
from api.services.certificates.results import is_relative
from api.services.certificates.standing import Identity, Stored
from api.store.tables import Result

FIELD = "keeps_corrections"
Place = Callable[..., str]
# Point and stage of each result, and its error, in the order of the record.
Errors = list[tuple[str, str, bool, Decimal | None]]


class KeptCorrections:
    """What stays taken from the revisions of one recording."""

    def __init__(self, recording: Recording, stored: Mapping[Identity, Stored]) -> None:
        """Note the numbers under which a corrected revision is `stored`; mostly there is none."""
        self.recording = recording
        corrected = {identity[:2] for identity, one in stored.items() if one.fault_corrections}
        self._of: dict[tuple[str, str], dict[int, Stored]] = {number: {} for number in corrected}
        for (issuer, number, revision), one in stored.items():
            if (issuer, number) in corrected:
                self._of[issuer, number][revision] = one

    def of(
        self, calibration: Record, results: Sequence[Mapping[str, Any]], place: Place
    ) -> list[Record] | None:
        """Return what stays taken from the figures of a calibration; None where nothing does.

        `results` are its rows. Faults are noted at `place`.
        """
        said = calibration.get(FIELD)
        number = calibration.get("issuer", ""), calibration["certificate"]
        revisions = self._of.get(number, {})
        before = [one for one in sorted(revisions, reverse=True) if one < calibration["revision"]]
        earlier = [revisions[one] for one in before]
        named = next((one for one in before if revisions[one].fault_corrections), None)
        if named is None:
            if said:
                remedy = f"leave {FIELD} out"
                self._refuse(place, "no revision before was corrected", remedy, "true")
            return None
        if said is False:
            return None
        last = revisions[named]
        stated, recorded = _errors(results), _recorded(self.recording, earlier)
        same = next((one for one in earlier if recorded.get(one.key) == stated), None)
        if said is None and same is not None:
            return same.fault_corrections
        if said is None:
            self._ask(named, last, place)
        elif [row[:3] for row in recorded.get(last.key, ())] != [row[:3] for row in stated]:
            remedy = f"send the points of revision {named}, or {FIELD}: false"
            self._refuse(place, f"revision {named} has others", remedy, "true")
        return last.fault_corrections

    def _ask(self, named: int, last: Stored, place: Place) -> None:
        recalls = ", ".join(dict.fromkeys(one["recall"] for one in last.fault_corrections or ()))
        self._refuse(
            place,
            f"missing: revision {named} was corrected for {recalls}, and the errors here "
            "are those of no revision before",
            "send true if what was taken for it stays taken from them, false if they were "
            "measured again or are not corrected",
        )

    def _refuse(self, place: Place, detail: str, remedy: str, value: str | None = None) -> None:
        self.recording.refuse(place(FIELD), detail, remedy, value)


def _errors(results: Sequence[Mapping[str, Any]]) -> Errors:
    return [(str(one["point"]), one["stage"], *_error(one)) for one in results]


def _error(result: Mapping[str, Any]) -> tuple[bool, Decimal | None]:
    if is_relative(result):
        return True, result["error_rel_pct"]
    error, indicated, applied = result.get("error"), result.get("indicated"), result.get("applied")
    if error is None and indicated is not None and applied is not None:
        error = indicated - applied
    return False, error


def _recorded(recording: Recording, revisions: Sequence[Stored]) -> dict[int, Errors]:
    """The errors of some revisions, by key."""
    names = ("point", "stage", "error", "error_rel_pct", "indicated", "applied")
    rows = recording.session.execute(
        select(Result.certificate_id, *(getattr(Result, name) for name in names))
        .where(Result.certificate_id.in_([one.key for one in revisions]))
        .order_by(Result.certificate_id, Result.position)
    )
    found: dict[int, Errors] = {}
    for key, *values in rows:
        result = dict(zip(names, values, strict=True))
        found.setdefault(key, []).extend(_errors([result]))
    return found
