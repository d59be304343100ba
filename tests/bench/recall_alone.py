"""What must be measured in a new process: the first answer, and the memory of a large one.

`tests.bench.recall` starts these and reads the JSON that each prints. Seconds are processor time,
counted from the start of the interpreter; memory is the peak of the process, as Linux tells it.

- `edges`: all uses as edges of a networkx graph, and nothing else.
- `graph`: the same with item, role and time of each use, without which no window can be judged:
  what a recall on a graph in memory needs before its first answer.
- `list`: the first list, of whatever holds a suspect use or could rest on one, with its rows.
- `command`: the same by `tracehold recall --reach`, its imports within the work.
- `recall`: the complete answer, with effects and verdicts of every point.
- `snapshot`: a tenth of the laboratory recalled, stored and streamed; nothing is kept.
- `tenth`: the same recall against reading its results by key, in turn.
"""

from __future__ import annotations

import io
import itertools
import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any


def peak_mb() -> float:
    """Peak memory of this process; ru_maxrss would count that of the process which started it."""
    status = Path("/proc/self/status").read_text()
    (line,) = [line for line in status.splitlines() if line.startswith("VmHWM")]
    return int(line.split()[1]) / 1024


def edges(url: str, _asked: str) -> dict[str, Any]:
    """Load every use into networkx, bare."""
    return _loaded(url, lambda item, role, at: {})


def graph(url: str, _asked: str) -> dict[str, Any]:
    """Load every use into networkx, with what tells whether it is suspect."""
    return _loaded(url, lambda item, role, at: {"item": item, "role": role, "at": at})


def _loaded(url: str, facts: Callable[[int, str, int], dict[str, Any]]) -> dict[str, Any]:
    import sqlite3

    import networkx as nx

    imports = time.process_time()
    connection = sqlite3.connect(url.removeprefix("sqlite:///"))
    uses = connection.execute("SELECT certificate_id, item_id, source_id, role, used_us FROM usage")
    loaded = nx.DiGraph()
    loaded.add_edges_from(
        (("item", item) if source is None else source, certificate, facts(item, role, at))
        for certificate, item, source, role, at in uses
    )
    work = time.process_time() - imports
    return {"imports": imports, "work": work, "peak": peak_mb(), "edges": loaded.size()}


def listed(url: str, asked: str) -> dict[str, Any]:
    """Answer which certificates could be affected, with their rows: the first list."""
    from api.schemas.plain_requests import plain_request
    from api.services.recalls.reach import first_list
    from api.store.reading import file_of, opened
    from api.store.sources import Recorded
    from api.web.collector import collect_seldom

    collect_seldom()  # as the command line does
    imports = time.process_time()
    request, file = plain_request({"fault": json.loads(asked)}), file_of(url)
    assert request is not None
    assert file is not None
    with opened(file) as reader:
        answer = first_list(Recorded(reader), request, time.time_ns() // 1_000)
    work = time.process_time() - imports
    return {"imports": imports, "work": work, "peak": peak_mb(), "affected": answer["count"]}


def commanded(url: str, asked: str) -> dict[str, Any]:
    """Answer the same as the command line does, from its arguments to the printed table."""
    from api.cli import main

    imports = time.process_time()
    # The list above shall not wait for what only this way needs.
    import tempfile
    from contextlib import redirect_stdout

    os.environ["TRACEHOLD_DATABASE_URL"] = url
    shown = io.StringIO()
    with tempfile.NamedTemporaryFile("w+", suffix=".json") as file, redirect_stdout(shown):
        file.write(asked)
        file.flush()
        main(["recall", file.name, "--reach"], standalone_mode=False)
    work = time.process_time() - imports
    count = int(shown.getvalue().split()[2])
    return {"imports": imports, "work": work, "peak": peak_mb(), "affected": count}


def recalled(url: str, asked: str) -> dict[str, Any]:
    """Answer one recall completely."""
    from api.schemas.faults import RecallRequestSchema
    from api.services.recalls.run import recall
    from api.store.database import Database

    imports = time.process_time()
    request = RecallRequestSchema().load({"fault": json.loads(asked)})
    with Database(url).read() as session:
        answer = recall(session, request, time.time_ns() // 1_000)
    work = time.process_time() - imports
    count = len(answer.lists["affected"])
    return {"imports": imports, "work": work, "peak": peak_mb(), "affected": count}


def snapshot(url: str) -> dict[str, Any]:
    """Recall a tenth of the laboratory, store it and stream it, in one transaction rolled back."""
    from api.services.evidence import exports
    from api.services.recalls import recalls
    from api.services.recalls.run import recall
    from api.store import record_changes
    from api.store.database import Database
    from api.web.collector import collect_seldom
    from graph.lists import LISTS
    from tests.bench.recall_faults import NOW_US, tenth

    collect_seldom()
    database, times = Database(url), [time.process_time()]
    with database.read() as session:
        answer = recall(session, tenth(), NOW_US)
    times.append(time.process_time())
    with database.write() as session:
        head = recalls.store(session, answer, None, NOW_US, record_changes.position(session))
        times.append(time.process_time())
        lines = exports.lines(session, recalls.get(session, head["id"]), LISTS)
        size = sum(map(len, lines))
        times.append(time.process_time())
        session.rollback()
    made, kept, sent = (after - before for before, after in itertools.pairwise(times))
    return {
        "affected": len(answer.lists["affected"]),
        **{"recall": made, "store": kept, "stream": sent},
        "megabytes": size / 1e6,
        "peak": peak_mb(),
    }


def tenth_in_turn(url: str, rounds: str) -> dict[str, Any]:
    """Recall a tenth of the laboratory, and read its results by key, in turn."""
    from api.services.recalls.run import recall
    from api.store import records
    from api.store.database import Database
    from api.store.reading import SessionReader
    from api.web.collector import collect_seldom
    from tests.bench.recall_faults import NOW_US, in_turn, tenth

    collect_seldom()
    with Database(url).read() as session:
        found = recall(session, tenth(), NOW_US).lists["affected"]
        keys = sorted(one.certificate for one in found)
        del found
        results, complete = in_turn(
            (
                lambda: sum(1 for _ in records.results(SessionReader(session), keys)),
                lambda: recall(session, tenth(), NOW_US),
            ),
            int(rounds),
        )
    return {"affected": len(keys), "results": results, "complete": complete}


WAYS = {
    "edges": edges,
    "graph": graph,
    "list": listed,
    "command": commanded,
    "recall": recalled,
    "snapshot": snapshot,
    "tenth": tenth_in_turn,
}

if __name__ == "__main__":
    what, *arguments = sys.argv[1:]
    print(json.dumps(WAYS[what](*arguments)))
