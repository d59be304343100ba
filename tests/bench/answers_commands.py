"""What the command line prints, leaves in files and ends with, each command in its own process."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.bench.answers_api import CUSTOMER, DEMO, STORY
from tests.bench.answers_kept import Book
from tests.bench.answers_still import Clock, environment

SCOPES = "read,decide,record,recall,admin"
WAIT_S = 60
LAB = "lab"
FORMATS = ("csv", "ndjson", "json", "parquet", "arrow")
DECIDE = ("10.012", "--U", "0.004", "--upper", "10.015", "--unit", "kN", "--rule", "guard_U")
# Sub-commands stand indented in a help, under this heading.
_NAMED = re.compile(r"(?m)^  ([a-z]+)  ")


@dataclass
class Shell:
    """A folder in which commands run one by one, and the book of what they answered."""

    folder: Path
    clock: Clock
    clock_file: Path
    book: Book
    settings: dict[str, str] = field(default_factory=dict)

    def run(self, *arguments: str, keep: bool = True, **settings: str) -> tuple[int, bytes, bytes]:
        """Run a command to its end; returns its exit code, output and messages."""
        self.clock.move()
        done = subprocess.run(
            self._command(arguments),
            env=environment(self.clock_file, **(self.settings | settings)),
            cwd=self.folder,
            capture_output=True,
            stdin=subprocess.DEVNULL,
            timeout=10 * WAIT_S,
        )
        if keep:
            told = b"exit %d\n--- stdout\n%s--- stderr\n%s"
            said = told % (done.returncode, done.stdout, done.stderr)
            name = f"tracehold {' '.join(arguments)}".rstrip()
            self.book.keep(name, name.encode(), done.returncode, said)
        return done.returncode, done.stdout, done.stderr

    def file(self, name: str) -> None:
        """Keep what a command left in a file."""
        path = self.folder / name
        found = path.is_file()
        self.book.keep(f"file {name}", b"", int(found), path.read_bytes() if found else b"")

    def write(self, name: str, content: Any) -> str:
        """Write a file for a command to read."""
        (self.folder / name).write_text(json.dumps(content), encoding="utf-8")
        return name

    @contextmanager
    def served(self) -> Iterator[str]:
        """Serve the database of the settings; yields the address."""
        process = subprocess.Popen(
            self._command(("serve", "--port", "0")),
            env=environment(self.clock_file, **self.settings),
            cwd=self.folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stderr is not None
        try:
            for line in process.stderr:
                if found := re.search(r"http://[\d.]+:\d+", line):
                    yield found[0]
                    return
            raise RuntimeError("the server did not start")
        finally:
            process.terminate()
            process.communicate(timeout=WAIT_S)

    def _command(self, arguments: tuple[str, ...]) -> list[str]:
        module = "tests.bench.answers_still"
        return [sys.executable, "-m", module, str(self.clock_file), *arguments]


def new_database(shell: Shell, name: str, *, keep: bool) -> str:
    """Make a migrated database with a key of every scope; returns the key."""
    shell.settings["TRACEHOLD_DATABASE_URL"] = f"sqlite:///{name}"
    code, _, said = shell.run("migrate", keep=keep)
    if code:
        raise RuntimeError(said.decode())
    key = ("keys", "create", "--name", "all", "--scopes", SCOPES)
    token = shell.run(*key, keep=keep)[1].split()[-1].decode()
    return token


def run_all(shell: Shell) -> None:
    """Run every command, on a database of its own."""
    _helps(shell)
    shell.run("demo")
    shell.settings["TRACEHOLD_WEBHOOKS_TO_PRIVATE"] = "yes"
    for name in (("verify",), ("recall", "none.json"), ("nonsense",), ("decide", "1")):
        shell.run(*name)
    shell.settings["TRACEHOLD_API_KEY"] = new_database(shell, "commands.db", keep=True)
    shell.run("migrate")
    shell.run("settings")
    shell.run("trace", "MV-25-0075", TRACEHOLD_URL="http://127.0.0.1:1")
    fault = shell.write("fault.json", STORY["fault"])
    both = shell.write("faults.json", [STORY["fault"], STORY["second_fault"]])
    wrong = shell.write("wrong.json", STORY["fault"] | {"delta_rel": "much"})
    # Copied, so that no message names where the checkout is.
    shutil.copytree(DEMO, shell.folder / LAB, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    (shell.folder / "results.csv").write_bytes((DEMO / "results.csv").read_bytes())
    with shell.served() as url:
        shell.settings["TRACEHOLD_URL"] = url
        _webhook(url, shell.settings["TRACEHOLD_API_KEY"])
        _imports(shell)
        _decisions(shell)
        for name in (fault, both, wrong):
            for options in (("--preview",), (), ("--json",)):
                shell.run("recall", name, *options)
        shell.run("recall", "--show", "1")
        shell.run("recall", "--show", "1", "--json")
        shell.run("recall", fault, "--previous", "1")
        shell.run("recall", "--show", "99")
        for certificate in ("MV-25-0075", "OIF/23-0219", "none-such"):
            shell.run("trace", certificate)
            shell.run("trace", certificate, "--json")
    del shell.settings["TRACEHOLD_URL"]
    _evaluations(shell)
    _on_the_database(shell, (fault, both, wrong))


def _helps(shell: Shell) -> None:
    """Print the help of every command and of those under it."""
    shell.run("--version")
    shell.run()
    for name in _NAMED.findall(shell.run("--help")[1].decode()):
        told = shell.run(name, "--help")[1].decode()
        _, heading, commands = told.partition("Commands:\n")
        for under in _NAMED.findall(commands if heading else ""):
            shell.run(name, under, "--help")


def _webhook(url: str, key: str) -> None:
    """Register a webhook at which nobody answers."""
    headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
    body = json.dumps({"url": "http://127.0.0.1:9/lims"}).encode()
    asked = urllib.request.Request(f"{url}/v1/webhooks", body, headers)
    with urllib.request.urlopen(asked, timeout=WAIT_S) as answer:
        answer.read()


def _imports(shell: Shell) -> None:
    whole = f"{LAB}/laboratory.json"
    for options in (("--dry-run",), (), ("--json",)):
        shell.run("import", whole, *options)
    folder = f"{LAB}/spreadsheet"
    sheets = [f"{folder}/{one.name}" for one in sorted((DEMO / "spreadsheet").glob("*.csv"))]
    mapping = ("--mapping", f"{folder}/mapping.json")
    shell.run("import", *sheets, *mapping, "--dry-run")
    results = (DEMO / "spreadsheet" / "results.csv").read_bytes().replace(b"0,0", b"O,0", 5)
    (shell.folder / "results").mkdir()
    (shell.folder / "results" / "results.csv").write_bytes(results)
    spoiled = [one for one in sheets if not one.endswith("results.csv")] + ["results/results.csv"]
    for report in ("refused.csv", "refused.json"):
        shell.run("import", *spoiled, *mapping, "--dry-run", "--report", report)
        shell.file(report)
    shell.run("import", *spoiled, *mapping)
    shell.run("import", *spoiled, *mapping, "--skip-refused", "--json")
    (shell.folder / "lines.ndjson").write_text('{"items": {"id": "N-1", "kind": "readout"}}\n')
    shell.run("import", "lines.ndjson")
    # One strange field only: several are told in no certain order.
    shell.run("import", shell.write("strange.json", {"title": "strange", "fault": {}}))


def _decisions(shell: Shell) -> None:
    for options in (
        (),
        ("--json",),
        ("--no-store",),
        ("--prior", "10", "0.01"),
        ("--fail-on-nonconformity", "--lower", "10.014"),
        ("--lower", "11"),
    ):
        shell.run("decide", *DECIDE, *options)
    shell.run("decide", "-0.5", "--U", "0.1", "--unit", "%", "--rule", "none", "--upper", "1")


def _evaluations(shell: Shell) -> None:
    shell.run("evaluate", "results.csv")
    for ending in FORMATS:
        shell.run("evaluate", "results.csv", "-o", f"out.{ending}")
        shell.file(f"out.{ending}")
    rule = {"id": "ours", "guard": {"basis": "U", "factor": "0.5"}, "zones": 4}
    rules = shell.write("rules.json", [rule])
    shell.run("evaluate", "results.csv", "--rules", rules, "--rule", "ours", "--summary-line")
    shell.run("evaluate", "results.csv", "--raw", "--fail-on-nonconformity")
    heading, *rows = (DEMO / "results.csv").read_bytes().splitlines(keepends=True)
    for part in range(3):
        name = f"part-{part + 9}.csv"
        (shell.folder / name).write_bytes(heading + b"".join(rows[part * 10 : part * 10 + 10]))
    shell.run("evaluate", "part-*.csv", "--summary-line")
    shell.run("evaluate", "part-*.csv", "-o", "joined.parquet")
    shell.file("joined.parquet")
    shell.run("evaluate", "part-*.csv", "-o", "decided")
    for part in range(3):
        shell.file(f"decided/part-{part + 9}.csv")
    shell.run("evaluate", "part-*.csv", "-o", "decided")
    shell.run("evaluate", "results.csv", "-o", "out.txt")
    shell.run("evaluate", "fault.json")


def _on_the_database(shell: Shell, faults: tuple[str, ...]) -> None:
    for options in ((), ("--json",)):
        shell.run("snapshot", f"snapshot{len(options)}", *options)
    shell.file("snapshot0/manifest.json")
    shell.run("snapshot", "snapshot0", "--check")
    for name in faults:
        for options in (
            ("--reach",),
            ("--snapshot", "snapshot0"),
            ("--snapshot", "snapshot0", "--reach"),
        ):
            shell.run("recall", name, *options)
            shell.run("recall", name, *options, "--json")
    customer = ("keys", "create", "--name", "c", "--scopes", "read", "--customer", CUSTOMER)
    said = shell.run(*customer, "--expires", "2030-01-01")[1]
    made = said.split(b"_")[1].decode()
    shell.run("keys", "create", "--name", "c", "--scopes", "everything")
    shell.run("keys", "rotate", made, "--grace-hours", "1")
    shell.run("keys", "revoke", made)
    shell.run("keys", "revoke", "none-such")
    shell.run("keys", "list")
    shell.run("keys", "list", "--json")
    shell.run("webhooks", "deliver")
    shell.run("journal", "export", "journal.ndjson")
    shell.file("journal.ndjson")
    shell.run("journal", "verify", "journal.ndjson")
    lines = (shell.folder / "journal.ndjson").read_bytes().splitlines(keepends=True)
    (shell.folder / "cut.ndjson").write_bytes(b"".join([*lines[:3], *lines[4:]]))
    shell.run("journal", "verify", "cut.ndjson")
    for options in ((), ("--json",)):
        shell.run("verify", *options)
    shell.run("backup", "backup.db")
    shell.run("backup", "backup.db")
    shell.run("restore", "backup.db")
    shell.run("restore", "backup.db", TRACEHOLD_DATABASE_URL="sqlite:///restored.db")
    shell.run("demo", "--keep", "kept")
