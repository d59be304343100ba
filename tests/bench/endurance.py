"""How much load is held without an error, and how many kills are survived without a loss.

    python -m tests.bench.endurance load --clients 64 --seconds 60
    python -m tests.bench.endurance kills --kills 100

Each runs on SQLite (one server) and on a PostgreSQL of its own (three servers; left out where none
is installed). `load` calls every answer that is not as it should be an error. `kills` sends SIGKILL
at random moments to servers and to PostgreSQL while clients write; a client sends again, with the
same Idempotency-Key, until it is answered. Afterwards every acknowledged write must be there once,
none in part, and `tracehold verify` must find nothing. Exit code 1 if anything is wrong; what the
servers logged stays in the temporary folder as `endurance-ENGINE.log`.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from api.services.access.keys import SCOPES, create_key
from api.store import migrate
from api.store.database import Database
from tests.bench.afterwards import faults
from tests.bench.machines import Postgres, Server, killing, postgres, programs, servers
from tests.bench.workload import Client, Told, prepare

THREADS = {1: 64, 3: 24}


@contextmanager
def database_of(engine: str) -> Iterator[tuple[str, Postgres | None]]:
    """Address of a new database, and the server behind it."""
    if engine == "sqlite":
        with tempfile.TemporaryDirectory(prefix="tracehold-") as folder:
            yield f"sqlite:///{folder}/endurance.db", None
    else:
        with postgres() as made:
            yield made.url, made


def run(
    engine: str, clients: int, seconds: float, kills: int = 0, seed: int = 1
) -> tuple[Told, list[str]]:
    """Let clients work on one engine; what they were told, and what is wrong afterwards."""
    count = 1 if engine == "sqlite" else 3
    with database_of(engine) as (url, behind):
        database = Database(url)
        migrate.upgrade(database)
        with database.write() as session:
            now = time.time_ns() // 1000
            _, token = create_key(session, "endurance", SCOPES, now=now)
        told, stop = Told(), threading.Event()
        log = Path(tempfile.gettempdir()) / f"endurance-{engine}.log"
        log.unlink(missing_ok=True)
        with servers(url, count, THREADS[count], log) as serving:
            prepare(serving[0].base, token)
            bases = [one.base for one in serving]
            working = [Client(bases, token, told, stop, patient=kills > 0) for _ in range(clients)]
            for one in working:
                one.start()
            if kills:
                targets: list[Server | Postgres] = [*serving, *([behind] if behind else [])]
                killer = killing(targets, (0.3, 2.0), kills, seed)
                killer.start()
                killer.join()
                time.sleep(2)
            else:
                time.sleep(seconds)
            stop.set()
            for one in working:
                one.join(90)
        database.dispose()
        reopened = Database(url)
        found = told.errors + list(faults(reopened, told))
        reopened.dispose()
    return told, found


def main() -> int:
    """Run what was asked for and print what was seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("what", choices=("load", "kills"))
    parser.add_argument("--engines", nargs="+", choices=("sqlite", "postgresql"))
    parser.add_argument("--clients", type=int, default=64)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    engines = given.engines or ["sqlite", *(["postgresql"] if programs() else [])]
    wrong = 0
    for engine in engines:
        kills = given.kills if given.what == "kills" else 0
        clients = given.clients if not kills else min(given.clients, 16)
        told, found = run(engine, clients, given.seconds, kills, given.seed)
        wrong += len(found)
        written = len(told.decisions) + len(told.laboratories) + len(told.recalls)
        written += told.changes.total()
        slow = sorted(told.seconds)
        print(
            f"{engine}: {clients} clients, {told.requests.total()} requests {dict(told.requests)}"
        )
        print(f"  {written} acknowledged writes, {len(told.recalls)} recalls, {kills} kills")
        print(
            f"  median {statistics.median(slow) * 1e3:.0f} ms, "
            f"99 % within {slow[int(len(slow) * 0.99)] * 1e3:.0f} ms, longest {slow[-1]:.1f} s"
        )
        print(f"  {len(found)} errors", *found[:20], sep="\n    ", flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
