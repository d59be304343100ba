"""Do the figures of a certificate hold together? And are they what was agreed and accredited.

Found from the recorded results alone: a U below the capability recorded now (`below_cmc`), an error
that is not what was indicated less what was applied (`wrong_sum`), a reported verdict that is not
the one of rule, limits and U (`verdict_differs`), and a rule or specification other than the one
agreed with the customer (`rule_not_agreed`; ISO/IEC 17025:2017, 7.1.3, 7.8.6, 7.11.6).

Certificates of others are asked for their sums and verdicts only. Not checked: the figures
themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.exact import exact_arithmetic
from api.rules.limits import LimitsError
from api.services.base.units import PERCENT
from api.services.decisions.agreements import Book, Wanted, answers
from api.services.decisions.specifications import limits_of_error, specification_of
from api.services.grounds.candidates import Candidates
from api.services.grounds.finding import MIND, STOP, Finding, told_apart
from api.services.grounds.values import Found
from api.services.recalls.reading_results import Judged
from api.services.uncertainty.cmcs import Scope, below_cmc, scope
from api.store.agreements import Agreement
from api.store.chunks import chunks
from api.store.tables import Certificate, Customer, DecisionRule, Item, Result
from api.store.versions import content_of

_STAGES = {"single": "", "as_found": ", as found", "as_left": ", as left"}


def figure_findings(asked: Candidates) -> Found:
    """Yield what is found in the figures of certificates; results in their order."""
    known = _Asked(asked.session)
    for keys in chunks(sorted(asked.as_of)):
        results: dict[int, list[Result]] = {key: [] for key in keys}
        rows = select(Result).where(Result.certificate_id.in_(keys)).order_by(Result.position)
        for row in asked.session.scalars(rows):
            results[row.certificate_id].append(row)
        subjects = select(Certificate, Item.type).join(Item, Item.id == Certificate.item_id)
        for one, kind in asked.session.execute(subjects.where(Certificate.id.in_(keys))):
            measured, statements = asked.measured[one.id]
            stated = list(zip(measured.points, statements, strict=True))
            for finding in known.of(one, kind, results[one.id], stated):
                yield one.id, finding


@dataclass(slots=True)
class _Asked:
    """Asks for agreements, types and capabilities once for many certificates."""

    session: Session
    book: Book = field(init=False)
    scopes: dict[tuple[str | None, str | None], Scope] = field(default_factory=dict)
    rules: dict[int, DecisionRule] = field(default_factory=dict)
    customers: dict[int, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.book = Book(self.session)

    def of(
        self,
        certificate: Certificate,
        kind: str | None,
        results: Sequence[Result],
        stated: Sequence[Judged],
    ) -> Iterator[Finding]:
        ours = not certificate.external
        held = self._scope(certificate.mode, kind) if ours else None
        terms = self._terms(certificate, kind) if ours else None
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

    def _terms(self, certificate: Certificate, kind: str | None) -> _Terms | None:
        """What the rules of its results are compared with; None for whom nothing is stated."""
        if certificate.customer_id is None:
            return None
        wanted = Wanted(
            certificate.customer_id,
            certificate.item_id,
            kind,
            certificate.order,
            certificate.performed_us,
        )
        agreed = None if self.book.empty() else self.book.of(wanted)
        return _Terms(self, certificate.customer_id, agreed)

    def customer(self, key: int) -> str:
        """Return the name of a customer."""
        if key not in self.customers:
            self.customers[key] = self.session.get_one(Customer, key).name
        return self.customers[key]

    def rule(self, key: int) -> DecisionRule:
        """Return a version of a rule."""
        if key not in self.rules:
            self.rules[key] = self.session.get_one(DecisionRule, key)
        return self.rules[key]


def _below_cmc(
    held: Scope, row: Result, certificate: Certificate, name: str, at: str
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


def off(row: Result) -> Decimal | None:
    """Return what was indicated less what was applied, where the error is something else.

    That is, where it is off by more than one unit of its last digit as written.
    """
    error, applied, indicated = row.error, row.applied, row.indicated
    if error is None or applied is None or indicated is None:
        return None
    with exact_arithmetic():
        difference = indicated - applied
        last_digit = Decimal((0, (1,), int(error.as_tuple().exponent)))
        return difference if abs(error - difference) > last_digit else None


def _wrong_sum(row: Result, name: str, at: str) -> Iterator[Finding]:
    difference = off(row)
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


@dataclass(slots=True)
class _Terms:
    """What was agreed for one certificate, or, without an agreement, what its rules say of it."""

    asked: _Asked
    customer_id: int
    agreement: Agreement | None

    @property
    def customer(self) -> str:
        """The name of the customer."""
        return self.asked.customer(self.customer_id)

    def against(self, row: Result, reported: str | None, name: str, at: str) -> Iterator[Finding]:
        """Find a rule or limits of a result other than those that were agreed."""
        if self.agreement is None:
            yield from self._of_another(row, name, at)
            return
        if row.rule_id != self.agreement.rule_id and (row.rule_id is not None or reported):
            yield _not_agreed(
                f"{at}: judged by {self._rule(row.rule_id)}, but {self._agreed('rule')}", name
            )
        if self._other_limits(row):
            yield _not_agreed(
                f"{at}: its limits are not those that were agreed; {self._agreed('specification')}",
                name,
            )

    def _of_another(self, row: Result, name: str, at: str) -> Iterator[Finding]:
        """Find a rule that says it was agreed with somebody else."""
        rule = None if row.rule_id is None else self.asked.rule(row.rule_id)
        if rule is None or rule.agreed_with is None:
            return
        if self.customer.casefold() not in rule.agreed_with.casefold():
            yield _not_agreed(
                f"{at}: judged by {self._rule(rule.id)}, which was agreed with "
                f"{rule.agreed_with}, not with {self.customer}",
                name,
            )

    def _agreed(self, what: str) -> str:
        (agreed,) = answers(self.asked.session, [] if self.agreement is None else [self.agreement])
        one = agreed[what]
        return (
            f'agreed with {self.customer} is {what} "{one["id"]}", version {one["version"]} '
            f"(agreement {agreed['id']}, version {agreed['version']})"
        )

    def _rule(self, key: int | None) -> str:
        if key is None:
            return "no recorded rule"
        rule = self.asked.rule(key)
        return f'rule "{rule.code}", version {rule.rule_version}'

    def _other_limits(self, row: Result) -> bool:
        """Whether a result has limits, and not those that the agreed specification gives it."""
        wanted = None if self.agreement is None else self.agreement.specification_id
        own = row.limit_lower, row.limit_upper
        if wanted is None or own == (None, None) or row.specification_id == wanted:
            return False
        try:
            given = limits_of_error(specification_of(self.asked.session, wanted), content_of(row))
        except LimitsError:
            return True
        return own != (given.lower, given.upper)


def _not_agreed(detail: str, name: str) -> Finding:
    return Finding(
        "rule_not_agreed",
        STOP,
        detail,
        "judge it by what was agreed, or record what is agreed now (POST /v1/agreements)",
        point=name,
    )
