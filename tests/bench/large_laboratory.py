"""A large laboratory for measuring: seeded, written straight into the tables of a new database.

Ten years of work: 20 reference standards calibrated elsewhere every year, 400 working standards
calibrated with them twice a year, 200 force machines calibrated with those, 2,000 adapters, and
customers' instruments, one in twenty of which serves as a reference for others. A certificate has
five results and about two uses, of a reference and an adapter; with `--all-roles` about five and a
half, since each records both ends of the set-up, two readouts and a climate monitor. Links are
resolved as the product resolves them.

    python tests/bench/large_laboratory.py 1000000 sqlite:///large.db [--all-roles]
"""

from __future__ import annotations

import argparse
import itertools
import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import insert

from api.store import migrate
from api.store.database import Database
from api.store.links import role_mark
from api.store.tables import Certificate, Customer, DecisionRule, Item, Result, Usage
from graph.moments import text_of

SEED = 20_251_125
START_US = 1_420_070_400_000_000  # 2015-01-01T00:00:00Z
DAY_US = 86_400_000_000
DAYS = 3_650
REFERENCES, WORKING, MACHINES, ADAPTERS = 20, 400, 200, 2_000
READOUTS, MONITORS = 40, 10
WITHOUT_VALUE = ("adapter", "environment")
FORCES = (20, 40, 60, 80, 100)
Row = dict[str, Any]
LOT = 20_000


@dataclass
class Laboratory:
    """Rows as they are made, and the certificate now in force for each item."""

    certificates: int
    all_roles: bool = False
    dice: random.Random = field(default_factory=lambda: random.Random(SEED))
    in_force: dict[int, int] = field(default_factory=dict)
    next_certificate: int = 1

    @property
    def instruments(self) -> int:
        """How many instruments of customers there are."""
        return max(20, self.certificates // 5)

    def items(self) -> list[Row]:
        kinds = [
            *(("reference_standard", "load_cell", f"REF-{n}") for n in range(REFERENCES)),
            *(("working_standard", "load_cell", f"WS-{n}") for n in range(WORKING)),
            *(("force_machine", None, f"FM-{n}") for n in range(MACHINES)),
            *(("adapter", "clevis", f"ADP-{n}") for n in range(ADAPTERS)),
            *(("customer_instrument", "tension_link", f"CI-{n}") for n in range(self.instruments)),
            *(("readout", None, f"RDO-{n}") for n in range(READOUTS * self.all_roles)),
            *(("environment_monitor", None, f"ENV-{n}") for n in range(MONITORS * self.all_roles)),
        ]
        return [
            {
                "id": key,
                "code": code,
                "kind": kind,
                "type": type_,
                "content_hash": "",
                "recorded_us": START_US,
                "version": 1,
            }
            for key, (kind, type_, code) in enumerate(kinds, 1)
        ]

    def events(self) -> Iterator[tuple[int, int, int, list[tuple[int, str]]]]:
        """(instant, item, customer or 0, uses as (item, role)) in order of time."""
        references = range(1, REFERENCES + 1)
        working = range(REFERENCES + 1, REFERENCES + WORKING + 1)
        machines = range(working[-1] + 1, working[-1] + MACHINES + 1)
        adapters = range(machines[-1] + 1, machines[-1] + ADAPTERS + 1)
        first, count = adapters[-1] + 1, self.instruments
        lending = count // 20
        readouts = range(first + count, first + count + READOUTS * self.all_roles)
        upkeep = REFERENCES * 10 + WORKING * 20 + MACHINES * 10
        daily = max(1, round((self.certificates - upkeep) / DAYS))
        for day in range(DAYS):
            at = itertools.count(START_US + day * DAY_US + 1, 1_000)
            for one in references:
                if (day + one) % 365 == 0 or day == 0:
                    yield next(at), one, 0, []
            for one in readouts:
                if (day + one * 13) % 365 == 0 or day == 0:
                    yield next(at), one, 0, []
            for one in working:
                if (day + one * 7) % 182 == 0 or day == 0:
                    yield next(at), one, 0, [(self.dice.choice(references), "force_reference")]
            for one in machines:
                if (day + one * 11) % 365 == 0 or day == 0:
                    yield next(at), one, 0, [(self.dice.choice(working), "force_reference")]
            for _ in range(daily):
                item = first + self.dice.randrange(count)
                yield (
                    next(at),
                    item,
                    1 + item % 500,
                    self._work(working, machines, adapters, first, lending),
                )

    def _work(
        self, working: range, machines: range, adapters: range, first: int, lending: int
    ) -> list[tuple[int, str]]:
        draw = self.dice.random()
        if draw < 0.05 and lending:
            reference = first + self.dice.randrange(lending)
        elif draw < 0.6:
            reference = self.dice.choice(working)
        else:
            reference = self.dice.choice(machines)
        uses = [(reference, "force_reference")]
        if self.dice.random() < 0.8:
            uses.append((self.dice.choice(adapters), "adapter"))
        if self.all_roles:
            readouts = range(first + self.instruments, first + self.instruments + READOUTS)
            monitors = range(readouts[-1] + 1, readouts[-1] + 1 + MONITORS)
            uses.append((self.dice.choice(adapters), "adapter"))
            uses.append((self.dice.choice(readouts), "readout_reference"))
            uses.append((self.dice.choice(readouts), "readout_dut"))
            if self.dice.random() < 0.7:
                uses.append((self.dice.choice(monitors), "environment"))
        return uses

    def rows(self) -> Iterator[tuple[Row, list[Row], list[Row]]]:
        for at, item, customer, used in self.events():
            key = self.next_certificate
            self.next_certificate += 1
            certificate = {
                "id": key,
                "issuer": "" if used else "Institute of Force",
                "number": f"L-{key:08d}",
                "revision": 0,
                "status": "issued",
                "item_id": item,
                "customer_id": customer or None,
                "performed_at": text_of(at),
                "performed_us": at,
                "performed_end_us": at,
                "external": not used,
                "assigns_value": True,
                "never_issued": False,
                "serves_from_us": at,
                "roles": "".join(sorted({role_mark(role) for _, role in used})),
                "content_hash": f"{key:064d}",
                "recorded_us": at,
                "version": 1,
            }
            uses = [
                {
                    "certificate_id": key,
                    "position": position,
                    "item_id": one,
                    "role": role,
                    "used_us": at,
                    "used_end_us": at,
                    "source_id": None if role in WITHOUT_VALUE else self.in_force.get(one),
                }
                for position, (one, role) in enumerate(used)
            ]
            self.in_force[item] = key
            yield certificate, uses, [self._result(key, n, force) for n, force in enumerate(FORCES)]

    def _result(self, key: int, position: int, force: int) -> Row:
        thousandths = self.dice.randrange(-40, 41) * force // 100
        error = f"{thousandths / 1000:.3f}"
        return {
            "certificate_id": key,
            "position": position,
            "point": position + 1,
            "stage": "single",
            "unit": "kN",
            "applied": str(force),
            "indicated": f"{force + thousandths / 1000:.3f}",
            "error": error,
            "U": f"{force * 0.0002:.4f}",
            "k": "2",
            "tolerance": f"{force * 0.0005:.4f}",
            "limit_lower": f"-{force * 0.0005:.4f}",
            "limit_upper": f"{force * 0.0005:.4f}",
            "rule_id": 1,
            "verdict_reported": "pass" if abs(thousandths) <= force * 0.3 else "fail",
        }


def write(database: Database, certificates: int, all_roles: bool = False) -> None:
    """Fill a new database with a laboratory of about this many certificates."""
    laboratory = Laboratory(certificates, all_roles)
    with database.write() as session:
        connection = session.connection()
        connection.execute(
            insert(Customer),
            [{"id": n, "name": f"Customer {n}", "version": 1} for n in range(1, 501)],
        )
        rule = {"id": 1, "code": "guard_U", "rule_version": 1, "recorded_us": START_US}
        definition = {"guard": {"basis": "U", "factor": "1"}, "zones": 2}
        connection.execute(insert(DecisionRule), [rule | {"definition": definition}])
        connection.execute(insert(Item), laboratory.items())
        rows = laboratory.rows()
        while lot := list(itertools.islice(rows, LOT)):
            _insert(connection, Certificate, [certificate for certificate, _, _ in lot])
            _insert(connection, Usage, [use for _, uses, _ in lot for use in uses])
            _insert(connection, Result, [result for _, _, results in lot for result in results])
        if not database.is_sqlite:
            _continue_numbers(connection)
    with database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")


def _continue_numbers(connection: Any) -> None:
    """Let PostgreSQL number on behind the keys that were written here."""
    for table in ("customer", "decision_rule", "item", "certificate"):
        connection.exec_driver_sql(
            f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), max(id)) FROM {table}"
        )


def _insert(connection: Any, table: Any, rows: Sequence[Row]) -> None:
    """Straight through the driver: the values are those that the column types would write."""
    columns = list(rows[0])
    marks = ", ".join("?" if connection.dialect.name == "sqlite" else "%s" for _ in columns)
    names = ", ".join(f'"{name}"' for name in columns)
    cursor = connection.connection.cursor()
    values = [[str(row[n]) if n == "point" else row[n] for n in columns] for row in rows]
    if connection.dialect.name == "sqlite":
        cursor.executemany(f"INSERT INTO {table.__tablename__} ({names}) VALUES ({marks})", values)
        return
    with cursor.copy(f"COPY {table.__tablename__} ({names}) FROM STDIN") as copy:
        for row in values:
            copy.write_row(row)


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("certificates", type=int)
    options.add_argument("database")
    options.add_argument("--all-roles", action="store_true")
    given = options.parse_args()
    database = Database(given.database)
    migrate.upgrade(database)
    began = time.perf_counter()
    write(database, given.certificates, given.all_roles)
    print(f"{given.certificates} certificates in {time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
