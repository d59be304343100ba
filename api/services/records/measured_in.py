"""What were certificates measured in? Set-up checks, run evaluations and budgets, in short.

They are found by the results that took something from them, and the set-up check by the certificate
too. None of these records is ever written again.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from typing import Any, NamedTuple

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.store.chunks import chunks
from api.store.evaluations import RunEvaluation
from api.store.fitting import SetupCheck
from api.store.tables import Certificate, Result
from api.store.uncertainty import UncertaintyBudget


def _check(row: SetupCheck) -> Record:
    return {"id": row.id, "at": row.answer["at"], "outcome": row.outcome}


def _run(row: RunEvaluation) -> Record:
    request, answer = row.request, row.answer
    shown = {"id": row.id, "points": len(answer["points"]), "series": len(request["series"])}
    at = request.get("performed_at")
    return shown if at is None else shown | {"performed_at": at}


def _budget(row: UncertaintyBudget) -> Record:
    title = row.request.get("title")
    return {"id": row.code} if title is None else {"id": row.code, "title": title}


class _Kind(NamedTuple):
    """How records of a kind are called, which table they are in, and how they are shown."""

    name: str
    table: Any
    shown: Callable[[Any], Record]


_LINKS = (Result.setup_check_id, Result.run_evaluation_id, Result.budget_id)
_KINDS = (
    _Kind("set_up_checks", SetupCheck, _check),
    _Kind("run_evaluations", RunEvaluation, _run),
    _Kind("budgets", UncertaintyBudget, _budget),
)


def measured_in(session: Session, certificates: Collection[int]) -> dict[int, Record]:
    """Return what certificates were measured in, by key; those that name nothing are left out.

    Each has `set_up_checks`, `run_evaluations` and `budgets`, as far as there are any.
    """
    found: dict[int, tuple[set[int], ...]] = {}
    for some in chunks(sorted(certificates)):
        of_results = select(Result.certificate_id, *_LINKS).where(
            Result.certificate_id.in_(some), or_(*(link.is_not(None) for link in _LINKS))
        )
        own = select(Certificate.id, Certificate.setup_check_id).where(
            Certificate.id.in_(some), Certificate.setup_check_id.is_not(None)
        )
        for statement in (of_results.distinct(), own):
            for key, *links in session.execute(statement):
                sets = found.setdefault(key, tuple(set() for _ in _KINDS))
                for kept, link in zip(sets, links, strict=False):
                    kept.update(() if link is None else (link,))
    known = [
        _by_key(session, kind, {key for one in found.values() for key in one[place]})
        for place, kind in enumerate(_KINDS)
    ]
    return {
        key: {
            kind.name: [rows[one] for one in sorted(keys)]
            for kind, rows, keys in zip(_KINDS, known, sets, strict=True)
            if keys
        }
        for key, sets in found.items()
    }


def _by_key(session: Session, kind: _Kind, keys: Iterable[int]) -> dict[int, Record]:
    return {
        row.id: kind.shown(row)
        for some in chunks(sorted(keys))
        for row in session.scalars(select(kind.table).where(kind.table.id.in_(some)))
    }
