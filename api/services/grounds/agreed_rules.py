"""Is a result judged by what was agreed with the customer? The version that holds for it counts.

Without an agreement a rule may itself say with whom it was agreed (ISO/IEC 17025:2017, 7.1.3,
7.8.6).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from sqlalchemy.orm import Session

from api.rules.limits import LimitsError
from api.services.decisions.agreements import Book, Wanted, answers
from api.services.decisions.specifications import limits_of_error, specification_of
from api.services.grounds.finding import STOP, Finding
from api.store.agreements import Agreement
from api.store.spelling import folded
from api.store.tables import DecisionRule


class Subject(NamedTuple):
    """A certificate as far as its figures are compared with something."""

    key: int
    external: bool
    accreditation: str | None
    mode: str | None
    order: str | None
    item_id: int
    performed_us: int
    kind: str | None
    owner: str | None
    customer: str | None


class Figures(NamedTuple):
    """The numbers of one result as recorded, and what it names beside them."""

    unit: str | None
    rule_id: int | None
    specification_id: int | None
    applied: Decimal | None
    indicated: Decimal | None
    error: Decimal | None
    U: Decimal | None
    error_rel_pct: Decimal | None
    U_rel_pct: Decimal | None
    limit_lower: Decimal | None
    limit_upper: Decimal | None


@dataclass(slots=True)
class Agreed:
    """What was agreed for many certificates: agreements and rules are read once."""

    session: Session
    book: Book = field(init=False)
    rules: dict[int, DecisionRule] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.book = Book(self.session)

    def terms(self, certificate: Subject) -> Terms | None:
        """Return what the rules of its results are compared with; None without a customer.

        What was agreed with the owner of the item holds where no customer is named.
        """
        customer = certificate.customer or certificate.owner
        if customer is None:
            return None
        agreed = None
        if not self.book.empty():
            wanted = Wanted(
                customer,
                certificate.item_id,
                certificate.kind,
                certificate.order,
                certificate.performed_us,
            )
            agreed = self.book.of(wanted)
        if agreed is None and certificate.customer is None:
            return None
        return Terms(self, customer, agreed)

    def rule(self, key: int) -> DecisionRule:
        """Return a version of a rule."""
        if key not in self.rules:
            self.rules[key] = self.session.get_one(DecisionRule, key)
        return self.rules[key]


@dataclass(slots=True)
class Terms:
    """What was agreed for one certificate, or, without an agreement, what its rules say of it."""

    asked: Agreed
    customer: str
    agreement: Agreement | None

    def against(self, row: Figures, reported: str | None, name: str, at: str) -> Iterator[Finding]:
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

    def _of_another(self, row: Figures, name: str, at: str) -> Iterator[Finding]:
        """Find a rule that says it was agreed with somebody else."""
        rule = None if row.rule_id is None else self.asked.rule(row.rule_id)
        if rule is None or rule.agreed_with is None:
            return
        if folded(self.customer) not in folded(rule.agreed_with):
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

    def _other_limits(self, row: Figures) -> bool:
        """Whether a result has limits, and not those that the agreed specification gives it."""
        wanted = None if self.agreement is None else self.agreement.specification_id
        own = row.limit_lower, row.limit_upper
        if wanted is None or own == (None, None) or row.specification_id == wanted:
            return False
        try:
            given = limits_of_error(specification_of(self.asked.session, wanted), row._asdict())
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
