"""Do the figures of a certificate hold together? And are they what was agreed and accredited.

Found from the recorded results alone: a U below the capability recorded now (`below_cmc`), an error
that is not what was indicated less what was applied (`wrong_sum`), a reported verdict that is not
the one of rule, limits and U (`verdict_differs`), and a rule or specification other than the one
agreed with the customer (`rule_not_agreed`; ISO/IEC 17025:2017, 7.1.3, 7.8.6, 7.11.6).

Certificates of others are asked for their sums and verdicts only. Not checked: the figures
themselves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from operator import itemgetter

from sqlalchemy.orm import Session

from api.rules.exact import exact_arithmetic
from api.services.base.units import PERCENT
from api.services.grounds.agreed_rules import Agreed, Figures, Subject
from api.services.grounds.candidates import Candidates
from api.services.grounds.finding import MIND, STOP, Finding, told_apart
from api.services.grounds.values import Found
from api.services.recalls.reading_results import Judged
from api.services.uncertainty.cmcs import Scope, below_cmc, scope
from api.store.keyed import rows_of

_STAGES = {"single": "", "as_found": ", as found", "as_left": ", as left"}


def figure_findings(asked: Candidates) -> Found:
    """Yield what is found in the figures of certificates; results in their order."""
    known = _Asked(asked.session)
    results = _results(asked)
    for one in _subjects(asked):
        measured, statements = asked.measured[one.key]
        stated = list(zip(measured.points, statements, strict=True))
        for finding in known.of(one, results.get(one.key, ()), stated):
            yield one.key, finding


def _subjects(asked: Candidates) -> Iterator[Subject]:
    names = ("id", "external", "accreditation", "mode", "order_number", "item_id", "performed_us")
    columns = ", ".join(f"certificate.{name}" for name in names)
    columns += ", item.type, item.owner, customer.name"
    also = "JOIN item ON item.id = certificate.item_id "
    also += "LEFT JOIN customer ON customer.id = certificate.customer_id"
    rows = rows_of(asked.reader, columns, "certificate", "id", sorted(asked.as_of), also)
    yield from map(Subject._make, rows)


def _results(asked: Candidates) -> dict[int, list[Figures]]:
    """Read the results of the certificates, in their order."""
    names = ("certificate_id", "position", *Figures._fields)
    columns = ", ".join(f'result."{name}"' for name in names)
    rows = rows_of(asked.reader, columns, "result", "certificate_id", sorted(asked.as_of))
    found: dict[int, list[Figures]] = defaultdict(list)
    for key, _, unit, rule, specification, *numbers in sorted(rows, key=itemgetter(0, 1)):
        exact = (None if number is None else Decimal(number) for number in numbers)
        found[key].append(Figures(unit, rule, specification, *exact))
    return found


@dataclass(slots=True)
class _Asked:
    """Asks for agreements, types and capabilities once for many certificates."""

    session: Session
    agreed: Agreed = field(init=False)
    scopes: dict[tuple[str | None, str | None], Scope] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.agreed = Agreed(self.session)

    def of(
        self,
        certificate: Subject,
        results: Sequence[Figures],
        stated: Sequence[Judged],
    ) -> Iterator[Finding]:
        ours = not certificate.external
        held = self._scope(certificate.mode, certificate.kind) if ours else None
        terms = self.agreed.terms(certificate) if ours else None
        for row, (point, said) in zip(results, stated, strict=True):
            name, at = str(point.name), f"point {point.name}{_STAGES[point.stage]}"
            found: list[Finding] = []
            if held is not None:
                found += _below_cmc(held, row, certificate, name, at)
            found += _wrong_sum(row, name, at)
            decided = said.contradicted(point)
            if decided is not None:
                found.append(_verdict_differs(str(said.reported), decided, name, at))
            if terms is not None:
                found += terms.against(row, said.reported, name, at)
            yield from (one._replace(stage=told_apart(point.stage)) for one in found)

    def _scope(self, mode: str | None, kind: str | None) -> Scope:
        if (mode, kind) not in self.scopes:
            self.scopes[mode, kind] = scope(self.session, mode, kind)
        return self.scopes[mode, kind]


def _below_cmc(
    held: Scope, row: Figures, certificate: Subject, name: str, at: str
) -> Iterator[Finding]:
    for term, unit in (("U", row.unit), ("U_rel_pct", PERCENT)):
        U: Decimal | None = getattr(row, term)
        sent = {"applied": row.applied, "unit": row.unit, term: U}
        found = below_cmc(held, sent)
        if found is None or U is None:
            continue
        accredited = certificate.accreditation is not None
        yield Finding(
            "below_cmc",
            STOP if accredited else MIND,
            f'{at}: U = {U:f} {unit} is below the capability "{found["cmc"]}", version '
            f"{found['version']}, which is {found['U_cmc']} {unit} there",
            "state that U or a larger one"
            + (", or issue the certificate without its accreditation" if accredited else ""),
            point=name,
        )
        return


def off(
    error: Decimal | None, applied: Decimal | None, indicated: Decimal | None
) -> Decimal | None:
    """Return what was indicated less what was applied, where the error is something else.

    That is, where it is off by more than one unit of its last digit as written.
    """
    if error is None or applied is None or indicated is None:
        return None
    with exact_arithmetic():
        difference = indicated - applied
        last_digit = Decimal((0, (1,), int(error.as_tuple().exponent)))
        return difference if abs(error - difference) > last_digit else None


def _wrong_sum(row: Figures, name: str, at: str) -> Iterator[Finding]:
    difference = off(row.error, row.applied, row.indicated)
    if difference is not None:
        yield Finding(
            "wrong_sum",
            STOP,
            f"{at}: the error is {row.error:f} {row.unit}, indicated less applied is "
            f"{difference:f}",
            "mend the reading, the applied force or the error",
            point=name,
        )


def _verdict_differs(reported: str, decided: str, name: str, at: str) -> Finding:
    return Finding(
        "verdict_differs",
        STOP,
        f"{at}: reported as {_words(reported)}, but rule, limits and U give {_words(decided)}",
        "leave verdict_reported out, or mend the error, limits, U or rule",
        point=name,
    )


def _words(verdict: str) -> str:
    return verdict.replace("_", " ")
