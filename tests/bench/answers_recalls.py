"""A thousand random recalls: laboratories of the oracle's generator, each in an empty database.

    python -m tests.bench.answers_recalls COUNT FOLDER

draws the laboratories, one line of JSON each. It is a process of its own that imports nothing of
the program: Hypothesis also draws what it finds in the sources of imported modules, and here the
same are to be drawn whatever the program is.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.bench.answers_still import environment

SEED = 20_260_601
ROOT = Path(__file__).resolve().parents[2]
# So many more are drawn than are wanted, since some come twice.
SPARE = 1.4


def drawn(count: int, clock: Path) -> list[bytes]:
    """So many different pairs of a laboratory and its faults (one to three), as JSON."""
    command = [sys.executable, "-m", "tests.bench.answers_recalls", str(count)]
    done = subprocess.run(
        [*command, str(clock.parent / "hypothesis")],
        env=environment(clock),
        cwd=ROOT,
        stdout=subprocess.PIPE,
        check=True,
    )
    return done.stdout.splitlines()


def ask(trial: Any, cases: list[bytes], template: Path, database: Path) -> None:
    """Import each laboratory into an empty database and recall its faults there.

    Every recall is previewed, and every fourth one is stored instead.
    """
    for number, case in enumerate(cases):
        _empty(template, database)
        laboratory, faults = json.loads(case)
        wanted = {"fault": faults[0]} if len(faults) == 1 else {"faults": faults}
        if number % 4:
            wanted["preview"] = True
        trial.ask("POST", "/v1/imports", laboratory, name=f"random {number:04} import")
        trial.ask("POST", "/v1/recalls", wanted, name=f"random {number:04} recall")


def _empty(template: Path, database: Path) -> None:
    """Copy the empty database over the one that the application has open."""
    with closing(sqlite3.connect(template)) as empty, closing(sqlite3.connect(database)) as full:
        full.execute("PRAGMA synchronous=OFF")
        empty.backup(full)


def draw(count: int, home: Path) -> list[bytes]:
    """Draw so many different ones; `home` takes what Hypothesis writes."""
    sys.path.insert(0, str(ROOT / "tests" / "oracle"))
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis import strategies as st
    from hypothesis.configuration import set_hypothesis_home_dir
    from laboratories import faults_for, laboratories, several_faults_for

    set_hypothesis_home_dir(home)

    @st.composite
    def cases(one: st.DrawFn) -> tuple[Any, Any]:
        laboratory = one(laboratories())
        if one(st.integers(0, 3)) == 3:
            return laboratory, one(several_faults_for(laboratory))
        return laboratory, [one(faults_for(laboratory))]

    made: dict[bytes, None] = {}

    @seed(SEED)
    @settings(
        max_examples=int(count * SPARE) + 10,
        database=None,
        deadline=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases())
    def draw_all(case: tuple[Any, Any]) -> None:
        made[json.dumps(case).encode()] = None

    draw_all()
    if len(made) < count:
        raise RuntimeError(f"only {len(made)} different laboratories were drawn of {count}")
    return list(made)[:count]


if __name__ == "__main__":
    sys.stdout.buffer.write(b"\n".join(draw(int(sys.argv[1]), Path(sys.argv[2]))))
