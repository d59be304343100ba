"""Everything that a recall asks of the records, and who can tell it.

Choice: `Source` is every question that a recall asks of the records. `Recorded` answers from a
database, through a session or straight from a SQLite file (`api.store.reading`); a `Snapshot`
(`api.store.snapshot`) answers from Parquet files. All hand out the same plain rows under the same
keys, so that the engine cannot tell them apart and an answer does not depend on where it was
asked. Rows come in no order that may be relied on, unless one is named.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from api.store import assemblies as held
from api.store import item_values, links, records
from api.store.item_values import ServingRow
from api.store.reading import Reader
from api.store.records import (
    CertificateRow,
    CheckRow,
    HeadRow,
    HoldingRow,
    ItemRow,
    NumberRow,
    PartRow,
    RecalibrationRow,
    ResultRow,
    UseRow,
)


class Source(Protocol):
    """The records that a recall reads; keys are those of the database."""

    def time_zone(self) -> str | None:
        """IANA name of the laboratory's zone; None until one is recorded."""

    def item(self, code: str) -> ItemRow | None:
        """The item of this id, if it is recorded."""

    def item_keys(self, codes: Collection[str]) -> set[int]:
        """Keys of the items of these ids."""

    def item_words(self, keys: Collection[int]) -> dict[int, tuple[str, str | None]]:
        """Ids and types of items by key."""

    def customer_names(self, keys: Collection[int]) -> dict[int, str]:
        """Names of customers by key."""

    def rules(self, keys: Collection[int]) -> Iterable[tuple[Any, ...]]:
        """(key, id, version, definition as JSON text) of decision rules."""

    def holdings_of(self, parts: Collection[str]) -> list[HoldingRow]:
        """Which assemblies held these parts, and when, by key of the holding."""

    def holdings_in(self, assemblies: Collection[str]) -> list[PartRow]:
        """What these assemblies ever held, and when, by key of the holding."""

    def servings_of(self, items: Collection[int]) -> list[ServingRow]:
        """Certificates of these items that were ever issued: issued, superseded or voided now."""

    def ambiguous_items(self, items: Collection[int]) -> set[int]:
        """Those of these items whose certificates leave open which of their values a use took."""

    def bearing_items(self, items: Collection[int]) -> set[int]:
        """Those of these items that were ever used or held: others may rest on them."""

    def checks_of(self, item: int) -> list[CheckRow]:
        """Checks of an item that were not withdrawn."""

    def recalibrations(
        self, item: int, start_us: int | None, end_us: int | None
    ) -> list[RecalibrationRow]:
        """Issued calibrations of an item inside (start, end]."""

    def numbered(self, number: str) -> list[NumberRow]:
        """All certificates of a number, newest revision first."""

    def certificates(self, keys: Collection[int]) -> Iterator[CertificateRow]:
        """Certificates by key."""

    def curves(self, keys: Collection[int]) -> dict[int, str | None]:
        """JSON text of the curves of these certificates, by key; None where one assigns none."""

    def heads(self, keys: Collection[int]) -> Iterator[HeadRow]:
        """What a list shows of certificates, by key."""

    def uses(self, keys: Collection[int]) -> Iterator[UseRow]:
        """Uses of these certificates."""

    def results(self, keys: Collection[int]) -> Iterator[ResultRow]:
        """Results of these certificates."""

    def users_of_items(self, items: Collection[int]) -> set[int]:
        """Certificates that ever used one of these items."""

    def users_of_certificate(self, certificate: int) -> set[int]:
        """Certificates that took a value from this one."""

    def certificates_by_method(self, method: str) -> set[int]:
        """Certificates whose calibration recorded this method."""

    def roles_of(self, items: Collection[int]) -> set[str]:
        """Roles in which these items were ever used."""

    def roles_elsewhere(self, ways: Collection[links.Met], window: links.Span) -> set[str]:
        """Roles of such uses by users that `users_of_items` leaves out; none if it tells all.

        `window` is that in which somebody is to be asked for them; others may be left out.
        """

    def lacking_roles(self, roles: Collection[str], window: links.Span) -> list[int]:
        """Our own certificates of the window, of whose uses none has one of the roles."""

    def everything_downward(self, certificates: Iterable[int]) -> set[int]:
        """These certificates and all that could rest on them, level by level."""

    def items_upward(self, certificates: Iterable[int]) -> set[int]:
        """Items that these certificates rest on, directly or through others."""

    def certificate_in_force(self, item: int, at_us: int, mode: str | None = None) -> int | None:
        """The certificate whose value an item carries at this instant, if any, in a mode."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """The records of a database, as one reader sees them; methods as in `Source`."""

    reader: Reader

    def time_zone(self) -> str | None:
        return records.time_zone(self.reader)

    def item(self, code: str) -> ItemRow | None:
        return records.item(self.reader, code)

    def item_keys(self, codes: Collection[str]) -> set[int]:
        return records.item_keys(self.reader, codes)

    def item_words(self, keys: Collection[int]) -> dict[int, tuple[str, str | None]]:
        return records.item_words(self.reader, keys)

    def customer_names(self, keys: Collection[int]) -> dict[int, str]:
        return records.customer_names(self.reader, keys)

    def rules(self, keys: Collection[int]) -> Iterable[tuple[Any, ...]]:
        return records.rules(self.reader, keys)

    def holdings_of(self, parts: Collection[str]) -> list[HoldingRow]:
        return held.holdings_of(self.reader, parts)

    def holdings_in(self, assemblies: Collection[str]) -> list[PartRow]:
        return held.holdings_in(self.reader, assemblies)

    def servings_of(self, items: Collection[int]) -> list[ServingRow]:
        return item_values.servings_of(self.reader, items)

    def ambiguous_items(self, items: Collection[int]) -> set[int]:
        return item_values.ambiguous_items(self.reader, items)

    def bearing_items(self, items: Collection[int]) -> set[int]:
        return records.bearing_items(self.reader, items)

    def checks_of(self, item: int) -> list[CheckRow]:
        return records.checks_of(self.reader, item)

    def recalibrations(
        self, item: int, start_us: int | None, end_us: int | None
    ) -> list[RecalibrationRow]:
        return records.recalibrations(self.reader, item, start_us, end_us)

    def numbered(self, number: str) -> list[NumberRow]:
        return records.numbered(self.reader, number)

    def certificates(self, keys: Collection[int]) -> Iterator[CertificateRow]:
        return records.certificates(self.reader, keys)

    def curves(self, keys: Collection[int]) -> dict[int, str | None]:
        return records.curves(self.reader, keys)

    def heads(self, keys: Collection[int]) -> Iterator[HeadRow]:
        return records.heads(self.reader, keys)

    def uses(self, keys: Collection[int]) -> Iterator[UseRow]:
        return records.uses(self.reader, keys)

    def results(self, keys: Collection[int]) -> Iterator[ResultRow]:
        return records.results(self.reader, keys)

    def users_of_items(self, items: Collection[int]) -> set[int]:
        return links.users_of_items(self.reader, items)

    def users_of_certificate(self, certificate: int) -> set[int]:
        return links.users_of_certificate(self.reader, certificate)

    def certificates_by_method(self, method: str) -> set[int]:
        return links.certificates_by_method(self.reader, method)

    def roles_of(self, items: Collection[int]) -> set[str]:
        return links.roles_of(self.reader, items)

    def roles_elsewhere(self, _ways: Collection[links.Met], _window: links.Span) -> set[str]:
        return set()

    def lacking_roles(self, roles: Collection[str], window: links.Span) -> list[int]:
        return links.lacking_roles(self.reader, roles, window)

    def everything_downward(self, certificates: Iterable[int]) -> set[int]:
        return links.everything_downward(self.reader, certificates)

    def items_upward(self, certificates: Iterable[int]) -> set[int]:
        return links.items_upward(self.reader, certificates)

    def certificate_in_force(self, item: int, at_us: int, mode: str | None = None) -> int | None:
        return links.certificate_in_force(self.reader, item, at_us, mode)
