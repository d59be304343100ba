"""The command line: what it prints where, and with which code it ends."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import signal
import sqlite3
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.cli import main
from api.client import LISTS, Client
from api.commands.demo import CAUTION
from api.services.batches.pieces import OUTPUTS, RISKS

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "fixtures" / "demo_lab"
STORY = json.loads((DEMO / "story.json").read_text())
DECIDE = ["--U", "0.003", "--lower", "9.990", "--upper", "10.010", "--unit", "kN"]
GUARDED = [*DECIDE, "--rule", "guard_U"]
HEAVY = {"flask", "pandas", "numpy", "sqlalchemy", "networkx", "requests", "rich", "marshmallow"}


@pytest.fixture
def run():
    """Run a command in this process; the environment holds no settings of ours."""
    ours = {name: None for name in os.environ if name.startswith("TRACEHOLD_")}
    ours["COLUMNS"] = "120"  # whatever the width of the terminal that runs the tests

    def invoke(*arguments, **environment):
        outcome = CliRunner(env={**ours, **environment}).invoke(main, list(map(str, arguments)))
        if outcome.exception is not None and not isinstance(outcome.exception, SystemExit):
            raise outcome.exception
        return outcome

    return invoke


@pytest.fixture
def ask(run, server, keys):
    """Run a command that asks a live server, with a key for everything."""
    token = keys.token()
    return lambda *arguments: run(*arguments, TRACEHOLD_URL=server, TRACEHOLD_API_KEY=token)


@pytest.fixture
def fault_file(tmp_path):
    """File with the first fault of the demonstration."""
    file = tmp_path / "fault.json"
    file.write_text(json.dumps(STORY["fault"]))
    return file


def environment(**changes):
    """Environment of a subprocess: ours removed, then changed."""
    kept = {name: v for name, v in os.environ.items() if not name.startswith("TRACEHOLD_")}
    kept.pop("NO_COLOR", None)
    return {**kept, "PYTHONPATH": str(ROOT), **changes}


def shell(*arguments, **changes):
    """Run the real command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "api", *map(str, arguments)],
        env=environment(**changes),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize("arguments", [["--help"], ["decide", "--help"], ["demo", "--help"]])
def test_help_comes_without_the_heavy_libraries(arguments):
    code = "import sys; from api.cli import main; main(sys.argv[1:], standalone_mode=False); "
    code += "print(sorted({name.split('.')[0] for name in sys.modules}), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env=environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Usage:" in done.stdout
    assert "'api'" in done.stderr
    assert not {name for name in HEAVY if f"'{name}'" in done.stderr}


def test_evaluating_a_file_loads_neither_the_server_nor_the_database(tmp_path):
    code = "import sys; from api.cli import main; main(sys.argv[1:], standalone_mode=False); "
    code += "print(sorted({name.split('.')[0] for name in sys.modules}), file=sys.stderr)"
    results = tmp_path / "results.csv"
    results.write_text("value,U,lower,upper,rule\n0.5,0.1,0,1,guard_U\n")
    done = subprocess.run(
        [sys.executable, "-c", code, "evaluate", str(results)],
        env=environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert not {n for n in ("flask", "sqlalchemy", "networkx") if f"'{n}'" in done.stderr}


def test_the_version_is_told(run):
    assert run("--version").output.startswith("tracehold ")


def test_a_laboratory_is_imported_and_messages_stay_out_of_stdout(ask):
    dry = ask("import", "--dry-run", DEMO / "laboratory.json")
    assert (dry.exit_code, "dry run" in dry.stderr) == (0, True)
    first = ask("import", DEMO / "laboratory.json")
    assert re.search(r"calibrations +411 +0", first.stdout)
    assert "Importing" in first.stderr
    raised = re.search(r"^(\d+) alert\(s\) raised or opened again", first.stderr, re.M)
    assert raised is not None
    assert int(raised[1]) > 0
    again = ask("import", "--json", DEMO / "laboratory.json")
    assert json.loads(again.stdout)["unchanged"]["items"] == 62


def test_a_decision_is_shown_with_limits_risk_and_statement(ask):
    shown = ask("decide", "10.008", *GUARDED).stdout
    assert re.search(r"^verdict +fail *$", shown, re.M)
    assert re.search(r"^acceptance limits +9.993 .. 10.007 kN *$", shown, re.M)
    assert re.search(r"^risk if accepted +9.12 % ", shown, re.M)
    assert re.search(r"^stored as +decision 1 *$", shown, re.M)


def test_a_decision_as_json_is_what_the_api_answers(ask, server, keys):
    printed = json.loads(ask("decide", "10.0080", *GUARDED, "--json").stdout, parse_float=Decimal)
    with Client(server, keys.token()) as client:
        stored = client.decision(printed["id"])
    assert {name: stored[name] for name in printed} == printed


def test_a_negative_value_is_a_value(ask):
    sent = ["--U", "0.1", "--nominal", "0", "--tolerance", "0.5", "--unit", "%", "--rule", "simple"]
    answer = json.loads(ask("decide", "-0.5", *sent, "--no-store", "--json").stdout)
    assert (answer["verdict"], answer["value"], answer["id"]) == ("pass", "-0.5", None)


def test_a_prior_asks_for_the_global_risks(ask):
    shown = ask("decide", "10.0", *GUARDED, "--prior", "10", "0.004", "--k", "2", "--dof", "30")
    assert "global consumer's risk" in shown.stdout


@pytest.mark.parametrize(
    ("value", "rule", "code"),
    [
        ("10.000", "four_state_U", 0),
        ("10.009", "four_state_U", 0),
        ("10.011", "four_state_U", 1),
        ("10.020", "four_state_U", 1),
        ("10.008", "guard_U", 1),
    ],
    ids=["pass", "conditional pass", "conditional fail", "fail", "guarded fail"],
)
def test_a_nonconformity_ends_with_1_only_where_it_is_asked_for(ask, value, rule, code):
    sent = ["decide", value, *DECIDE, "--rule", rule]
    assert ask(*sent).exit_code == 0
    assert ask(*sent, "--fail-on-nonconformity").exit_code == code


def test_a_refusal_ends_with_3_and_tells_place_and_remedy(ask):
    refused = ask("decide", "ten", *GUARDED)
    assert (refused.exit_code, refused.stdout) == (3, "")
    assert "/value: not a decimal number" in refused.stderr
    assert 'remedy: send digits with a point, such as "10.015"' in refused.stderr


def test_without_a_server_a_command_ends_with_3(run, monkeypatch):
    monkeypatch.setattr("api.client.wire._FIRST_WAIT_S", 0.0)
    failed = run("decide", "10", *GUARDED, TRACEHOLD_URL="http://127.0.0.1:9")
    assert failed.exit_code == 3
    assert "cannot be reached" in failed.stderr
    assert "TRACEHOLD_URL" in failed.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ["decide", "10"],
        ["decide", "10", "--colour", "red", *GUARDED],
        ["recall"],
        ["recall", str(DEMO / "story.json"), "--show", "1"],
        ["import", "no-such-file.json"],
        ["evaluate", str(DEMO / "results.csv"), "--rule", "unheard_of"],
        ["evaluate", str(DEMO / "results.csv"), "--rules", str(DEMO / "story.json")],
        ["recall", str(DEMO / "results.csv")],
    ],
    ids=lambda arguments: " ".join(Path(one).name for one in arguments[:4]),
)
def test_wrong_usage_ends_with_2(run, arguments):
    wrong = run(*arguments)
    assert (wrong.exit_code, wrong.stdout) == (2, "")
    assert "Error" in wrong.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [('{"item": "A", "item": "B"}', "'item' stands twice"), ('{"a": NaN}', "NaN is not a number")],
)
def test_a_fault_with_two_meanings_is_not_sent(run, tmp_path, text, said):
    file = tmp_path / "fault.json"
    file.write_text(text)
    wrong = run("recall", file)
    assert wrong.exit_code == 2
    assert said in wrong.stderr


def test_a_recall_is_previewed_stored_and_shown_again(ask, fault_file):
    ask("import", DEMO / "laboratory.json")
    preview = ask("recall", fault_file, "--preview")
    assert "Preview of a recall; nothing was stored" in preview.stdout
    made = ask("recall", fault_file)
    assert made.exit_code == 0
    assert "Recall R-00001" in made.stdout
    assert preview.stdout.split("\n")[1:] == made.stdout.split("\n")[1:]
    assert ask("recall", "--show", "1").stdout == made.stdout
    expected = STORY["fault_expected"]
    for name in ("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled"):
        assert re.search(rf"^ {name.replace('_', ' ')} +{expected[name]} ", made.stdout, re.M)


def test_a_recall_names_its_checks_and_marks_changes_by_a_word(ask, fault_file):
    ask("import", DEMO / "laboratory.json")
    shown = ask("recall", fault_file).stdout
    assert re.search(r"CHK-003 .*MOVED here +independent", shown)
    assert re.search(r"CHK-005 .*not moved +not independent", shown)
    changed = STORY["fault_expected"]["certificates_with_verdict_changes"]
    assert len(re.findall("CHANGED", shown)) == changed
    diamond = next(line for line in shown.split("\n") if "MV-25-0075" in line)
    assert re.search(r"TL-06 +Corvane Offshore +2 .*\+0.056 kip +pass -> fail", diamond)


def test_a_recall_as_json_is_what_the_api_answers(ask, fault_file, server, keys):
    ask("import", DEMO / "laboratory.json")
    printed = json.loads(ask("recall", fault_file, "--json").stdout)
    with Client(server, keys.token()) as client:
        assert client.recall(printed["id"]) == printed
    followed = json.loads(ask("recall", fault_file, "--previous", printed["id"], "--json").stdout)
    assert followed["previous"] == printed["id"]


def test_a_recall_too_large_for_one_answer_is_read_page_by_page(ask, fault_file, monkeypatch):
    ask("import", DEMO / "laboratory.json")
    whole = ask("recall", fault_file)
    monkeypatch.setattr("api.services.recalls.recalls.ENTRIES_AT_ONCE", 10)
    monkeypatch.setattr("api.client.wire._PAGE", 7)
    assert ask("recall", "--show", "1").stdout == whole.stdout
    printed = json.loads(ask("recall", "--show", "1", "--json").stdout)
    assert (set(printed["links"]), len(printed["affected"])) == (set(LISTS), 40)


def test_faults_reported_together_have_a_window_each(ask, tmp_path):
    ask("import", DEMO / "laboratory.json")
    file = tmp_path / "faults.json"
    bounded = {**STORY["second_fault"], "kind": "interval", "bound_rel": "0.0012"}
    del bounded["effect_rel"]
    file.write_text(json.dumps({"faults": [STORY["fault"], bounded]}))
    shown = ask("recall", file).stdout
    assert "Window of REF-500A" in shown
    assert "Window of PIN-22A" in shown
    assert "COULD CHANGE" in shown


def test_a_chain_is_a_tree_with_its_end(ask):
    ask("import", DEMO / "laboratory.json")
    shown = ask("trace", "MV-25-0075")
    assert "── WS-101, force reference, used 2025-05-12T22:45:00Z: MV-25-0052" in shown.stdout
    found = json.loads(ask("trace", "MV-25-0075", "--json").stdout)
    assert found["breaks"] == []
    assert (
        "Unbroken. It ends at OIF/23-0219 of Institute of Force"
        in ask("trace", "MV-25-0061").stdout
    )
    assert ask("trace", "C-404").exit_code == 3


def test_a_broken_chain_says_where_and_why(ask, tmp_path):
    items = [{"id": name, "kind": "working_standard"} for name in ("WS", "DUT")]
    calibration = {
        "certificate": "C-1",
        "item": "DUT",
        "performed_at": "2024-01-01T00:00:00Z",
        "uses": [{"item": "WS", "role": "force_reference"}],
    }
    file = tmp_path / "laboratory.json"
    file.write_text(json.dumps({"items": items, "calibrations": [calibration]}))
    assert ask("import", file).exit_code == 0
    shown = ask("trace", "C-1").stdout
    assert "WS, force reference, used 2024-01-01T00:00:00Z NO CALIBRATION" in shown
    assert re.search("BROKEN in 1 place: *\n *no calibration in force: WS had no", shown)


def test_evaluating_a_file_equals_the_batch_of_a_server(run, server, keys, tmp_path):
    target = tmp_path / "decided.csv"
    done = run("evaluate", DEMO / "results.csv", "-o", target)
    assert (done.exit_code, done.stdout) == (5, "")
    assert "40 rows: 24 pass" in done.stderr
    rows = list(csv.DictReader(io.StringIO(target.read_text(), newline="")))
    with Client(server, keys.token()) as client:
        answer = client.batch(csv=DEMO / "results.csv")
    names = [name for name in OUTPUTS if name in answer["rows"][0]]
    assert [[row[name] for name in names if name not in RISKS] for row in rows] == [
        [str(row[name] or "") for name in names if name not in RISKS] for row in answer["rows"]
    ]
    for name in RISKS[:2]:
        assert [row[name] and Decimal(row[name]) for row in rows] == [
            "" if row[name] is None else row[name] for row in answer["rows"]
        ]
    assert run("evaluate", DEMO / "results.csv").stdout == target.read_text()


def test_rows_without_a_rule_take_the_one_named_or_one_of_a_file(run, tmp_path):
    results, rules = tmp_path / "results.csv", tmp_path / "rules.json"
    results.write_text("value,U,upper\n10.0,0.2,10.1\n")
    rules.write_text('[{"id": "half", "guard": {"basis": "U", "factor": 0.5}}]')
    assert ",fail," in run("evaluate", results, "--rule", "guard_U").stdout
    assert ",pass," in run("evaluate", results, "--rule", "half", "--rules", rules).stdout
    assert "no decision rule is named" in run("evaluate", results).stdout
    failing = run("evaluate", results, "--rule", "guard_U", "--fail-on-nonconformity")
    assert failing.exit_code == 1


def test_what_is_undecided_ends_with_a_code_of_its_own_whatever_is_asked_for(run, tmp_path):
    results = tmp_path / "results.csv"
    results.write_text("value,U,lower,upper,rule\nabc,0.1,0,1,guard_U\n0.5,0.1,0,1,guard_U\n")
    for asked in ((), ("--fail-on-nonconformity",)):
        done = run("evaluate", results, *asked)
        assert (done.exit_code, "1 not decided" in done.stderr) == (5, True)
    results.write_text("value,U,lower,upper,rule\n")
    assert run("evaluate", results).exit_code == 5
    results.write_text("value,U,lower,upper,rule\nabc,0.1,0,1,guard_U\n2,0.1,0,1,guard_U\n")
    assert run("evaluate", results, "--fail-on-nonconformity").exit_code == 1


def test_a_batch_comes_from_standard_input_and_goes_to_standard_output():
    text = "value,U,lower,upper,rule\n0.5,0.1,0,1,guard_U\n"
    runner = CliRunner()
    done = runner.invoke(main, ["evaluate", "-", "--format", "csv", "-o", "-"], input=text)
    assert (done.exit_code, ",pass," in done.stdout) == (0, True)
    assert runner.invoke(main, ["evaluate", "-"], input=text).exit_code == 2


def test_a_batch_is_never_written_over_its_rows(run, tmp_path):
    results = tmp_path / "results.csv"
    results.write_text("value,U,lower,upper,rule\n0.5,0.1,0,1,guard_U\n")
    before = results.read_bytes()
    refused = run("evaluate", results, "-o", results)
    assert (refused.exit_code, results.read_bytes()) == (2, before)
    assert "it is FILE itself; name another" in refused.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_what_the_system_refuses_never_ends_as_a_nonconformity(run, tmp_path):
    nowhere = run("evaluate", DEMO / "results.csv", "-o", tmp_path / "none" / "out.csv")
    assert (nowhere.exit_code, "No such file or directory" in nowhere.stderr) == (3, True)
    command = [sys.executable, "-m", "api", "evaluate", str(DEMO / "results.csv")]
    with open("/dev/full", "wb") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, "No space left on device" in done.stderr) == (3, True), done.stderr
    assert "Traceback" not in done.stderr


def test_a_missing_statement_ends_with_a_code_of_its_own_where_it_is_asked_for(run, tmp_path):
    results, rules = tmp_path / "results.csv", tmp_path / "rules.json"
    tur = {"id": "tur", "guard": {"basis": "none"}, "precondition": {"least_tur": "4"}}
    rules.write_text(json.dumps([tur]))
    asked = ("evaluate", results, "--rule", "tur", "--rules", rules)
    # TUR 0.2 / (2 x 0.05) = 2, and 5 for the one that fails
    results.write_text("value,U,lower,upper\n0.05,0.05,-0.1,0.1\n")
    silent = run(*asked)
    assert (silent.exit_code, ",no_statement," in silent.stdout) == (0, True)
    assert "1 no statement" in silent.stderr
    assert run(*asked, "--fail-on-nonconformity").exit_code == 4
    results.write_text("value,U,lower,upper\n0.05,0.05,-0.1,0.1\n0.2,0.02,-0.1,0.1\n")
    assert run(*asked, "--fail-on-nonconformity").exit_code == 1


@pytest.mark.parametrize("ending", [".ndjson", ".json", ".parquet", ".arrow"])
def test_a_file_is_decided_from_and_to_the_format_of_its_ending(run, tmp_path, ending):
    there, back = tmp_path / f"decided{ending}", tmp_path / "back.csv"
    assert run("evaluate", DEMO / "results.csv", "-o", there).exit_code == 5  # two are undecided
    # A file that has answers already is refused before anything is written.
    again = run("evaluate", there, "-o", back)
    assert (again.exit_code, back.exists()) == (3, False)
    assert "is an answer" in again.stderr
    assert list(tmp_path.iterdir()) == [there]


def test_rows_pass_through_a_columnar_file_unchanged(run, tmp_path):
    import pyarrow.csv as arrow_csv
    import pyarrow.parquet as pq

    source, target = tmp_path / "results.parquet", tmp_path / "decided.csv"
    pq.write_table(arrow_csv.read_csv(DEMO / "results.csv"), source)
    assert "40 rows: 24 pass" in run("evaluate", source, "-o", target).stderr
    last = run("evaluate", source, "-o", target, "--summary-line")
    assert last.exit_code == 5
    assert target.read_text().splitlines()[-1].startswith('#summary {"rows": 40,')


def test_a_file_of_unknown_ending_is_a_wrong_argument(run, tmp_path):
    odd = tmp_path / "results.xlsx"
    odd.write_bytes(b"x")
    done = run("evaluate", odd)
    assert (done.exit_code, "does not end in .csv, .ndjson" in done.stderr) == (2, True)
    assert run("evaluate", DEMO / "results.csv", "-o", odd).exit_code == 2


def test_a_table_that_cannot_be_read_is_refused_with_its_remedy(run, tmp_path):
    file = tmp_path / "results.csv"
    file.write_text("value,U,uper\n1,0.1,2\n")
    refused = run("evaluate", file, "--rule", "simple")
    assert (refused.exit_code, refused.stdout) == (3, "")
    assert "remedy: write upper" in refused.stderr


def test_settings_name_every_variable_with_its_default(run):
    shown = run("settings").stdout
    for text in ("TRACEHOLD_DATABASE_URL", "sqlite:///tracehold.db", "TRACEHOLD_MAX_BODY_BYTES"):
        assert text in shown
    assert "TRACEHOLD_URL" in shown
    assert "TRACEHOLD_API_KEY" in shown


def test_settings_show_present_values_without_secrets(run, keys):
    token = keys.token()
    shown = run(
        "settings",
        TRACEHOLD_DATABASE_URL="postgresql://lab:s3cret@db/lab",
        TRACEHOLD_LOG_LEVEL="debug",
        TRACEHOLD_API_KEY=token,
    ).stdout
    assert "postgresql://lab:***@db/lab" in shown
    assert re.search(r"TRACEHOLD_LOG_LEVEL +debug +info ", shown)
    assert "s3cret" not in shown
    assert token.split("_", 2)[2][:12] not in shown


def test_a_setting_that_does_not_exist_is_warned_about_and_a_wrong_one_refused(run, tmp_path):
    shown = run("settings", TRACEHOLD_LOG_LEVL="x")
    assert shown.exit_code == 0
    assert "Warning: TRACEHOLD_LOG_LEVL is no setting of this version" in shown.stderr
    assert "did you mean TRACEHOLD_LOG_LEVEL?" in shown.stderr
    refused = run("serve", TRACEHOLD_LOG_FORMAT="xml")
    assert (refused.exit_code, refused.stdout) == (3, "")
    assert 'TRACEHOLD_LOG_FORMAT cannot be used as it is, "xml": write one of' in refused.stderr


def test_a_key_is_printed_alone_at_the_end_and_works_until_it_is_revoked(run, server, database_url):
    made = run(
        *("keys", "create", "--name", "bench", "--scopes", "read, record"),
        *("--customer", "Lift Co", "--expires", "2100-01-01"),
        TRACEHOLD_DATABASE_URL=database_url,
    )
    token = made.stdout.splitlines()[-1]
    assert made.stdout == f"{token}\n"
    with Client(server, token) as client:
        assert list(client.certificates()) == []
    (listed,) = json.loads(
        run("keys", "list", "--json", TRACEHOLD_DATABASE_URL=database_url).stdout
    )
    assert (listed["name"], listed["scopes"]) == ("bench", ["read", "record"])
    table = run("keys", "list", TRACEHOLD_DATABASE_URL=database_url).stdout
    assert re.search(r"bench +read, record +Lift Co +2100-01-01T00:00:00Z +- ", table)
    assert token not in table
    rotated = run("keys", "rotate", listed["id"], TRACEHOLD_DATABASE_URL=database_url)
    assert rotated.exit_code == 0, rotated.output
    assert f"replaces {listed['id']}, which ends at" in rotated.stderr
    assert rotated.stdout.startswith("th_")
    revoked = run("keys", "revoke", listed["id"], TRACEHOLD_DATABASE_URL=database_url)
    assert (revoked.exit_code, "is revoked" in revoked.stderr) == (0, True)
    listed, made = json.loads(
        run("keys", "list", "--json", TRACEHOLD_DATABASE_URL=database_url).stdout
    )
    assert listed["revoked_at"] is not None
    assert made["revoked_at"] is None


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["create", "--name", "x", "--scopes", "write"], "scopes are read, decide"),
        (["create", "--name", "x", "--scopes", "read", "--expires", "2001-01-01"], "in the future"),
        (["create", "--name", "x", "--scopes", "read", "--expires", "soon"], "/expires"),
        (["revoke", "nothing"], "There is no API key nothing"),
    ],
)
def test_a_wrong_key_command_is_refused_with_the_reason(run, database_url, arguments, said):
    refused = run("keys", *arguments, TRACEHOLD_DATABASE_URL=database_url)
    assert (refused.exit_code, refused.stdout) == (3, "")
    assert said in refused.stderr


def test_a_database_is_migrated_before_it_is_used(run, tmp_path):
    url = f"sqlite:///{tmp_path / 'new.db'}"
    for command in (["serve"], ["keys", "list"]):
        refused = run(*command, TRACEHOLD_DATABASE_URL=url)
        assert refused.exit_code == 3
        assert "tracehold migrate" in refused.stderr
    assert "is now at" in run("migrate", TRACEHOLD_DATABASE_URL=url).stderr
    assert run("migrate", TRACEHOLD_DATABASE_URL=url).exit_code == 0
    assert run("keys", "list", TRACEHOLD_DATABASE_URL=url).exit_code == 0


def test_what_is_older_than_the_alerts_raises_them_by_migrating(run, client, database):
    failed = {"id": "K-1", "item": "REF", "at": "2025-02-10", "result": "fail"}
    laboratory = {"items": [{"id": "REF", "kind": "reference_standard"}], "checks": [failed]}
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    with database.engine.begin() as connection:  # as a version without alerts would have written
        connection.exec_driver_sql("DELETE FROM change WHERE alert_id IS NOT NULL")
        for table in ("alert_use", "alert_answer", "alert", "alert_reading"):
            connection.exec_driver_sql(f"DELETE FROM {table}")
    assert client.get("/v1/alerts").get_json()["items"] == []
    for _ in range(2):
        assert run("migrate", TRACEHOLD_DATABASE_URL=database.url).exit_code == 0
        (alert,) = client.get("/v1/alerts").get_json()["items"]
        assert alert["says"] == "REF failed check K-1"


@pytest.mark.parametrize("url", ["sqlite:////no/such/folder/x.db", "nonsense", "nosuch://x/y"])
def test_a_database_that_cannot_be_opened_is_refused(run, url):
    refused = run("migrate", TRACEHOLD_DATABASE_URL=url)
    assert (refused.exit_code, refused.stdout) == (3, "")
    assert "cannot be used" in refused.stderr


def test_serve_tells_its_address_and_ends_in_order_on_sigterm(database_url, keys):
    process = subprocess.Popen(
        [sys.executable, "-m", "api", "serve", "--port", "0"],
        env=environment(TRACEHOLD_DATABASE_URL=database_url),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        url = re.search(r"http://127\.0\.0\.1:\d+", process.stderr.readline())[0]
        with Client(url, keys.token()) as client:
            assert list(client.items()) == []
        busy = shell("serve", "--port", url[-5:].strip(":"), TRACEHOLD_DATABASE_URL=database_url)
        assert (busy.returncode, "cannot listen" in busy.stderr) == (3, True)
        process.send_signal(signal.SIGTERM)
        assert process.wait(30) == 0
        assert process.stdout.read() == ""


@pytest.fixture(scope="module")
def demonstration(tmp_path_factory):
    """One run of the demonstration, and the folder that its temporary files went to."""
    folder = tmp_path_factory.mktemp("temporary")
    return shell("demo", COLUMNS="120", TMPDIR=str(folder), FORCE_COLOR="1"), folder


def test_the_demonstration_ends_well_and_cleans_up(demonstration):
    done, folder = demonstration
    assert (done.returncode, list(folder.iterdir())) == (0, [])
    assert "Traceback" not in done.stderr


def test_the_demonstration_tells_what_the_story_expects(demonstration):
    shown = demonstration[0].stdout
    first, second = shown.split("\n3. ")[1].split("\n4. ")
    for part, prefix in ((first, ""), (second, "second_")):
        expected = STORY[f"{prefix}fault_expected"]
        for name in ("affected", "exposed_zero_effect", "indeterminate"):
            assert re.search(rf"^ {name.replace('_', ' ')} +{expected[name]} ", part, re.M)
        assert part.count("CHANGED") == expected["certificates_with_verdict_changes"]


def test_the_demonstration_checks_the_planned_set_ups(demonstration):
    shown = " ".join(demonstration[0].stdout.split("\n6. ")[1].split())
    for planted in ("pin diameter", "load cycles", "roller bearings", "up to 2 %", "5 % to 8 %"):
        assert planted in shown
    assert "PIN-QH-7 own" in shown


def test_the_demonstration_shows_the_bad_rows_with_their_reason(demonstration):
    shown = demonstration[0].stdout
    assert re.search(r"^ R-013 +U +a number is needed", shown, re.M)
    assert re.search(r"^ R-027 +value +not a decimal number", shown, re.M)


def test_the_demonstration_ends_with_the_caution_and_how_to_go_on(demonstration):
    shown = " ".join(demonstration[0].stdout.split())
    assert (
        shown.index(CAUTION) < shown.index("tracehold keys create") < shown.index("tracehold serve")
    )


def test_what_is_no_terminal_gets_no_escape_codes_and_lines_of_a_fixed_width(demonstration):
    shown = demonstration[0].stdout
    assert "\x1b" not in shown
    assert max(map(len, shown.splitlines())) <= 120


@pytest.mark.parametrize(("columns", "width"), [("40", 100), ("", 120), ("150", 150)])
def test_the_width_outside_a_terminal_is_that_of_columns_but_at_least_100(run, columns, width):
    lines = run("settings", COLUMNS=columns).stdout.splitlines()
    assert max(map(len, lines)) <= width
    assert max(map(len, lines)) > min(width, 120) - 45


def test_a_kept_demonstration_can_be_served_as_it_says(tmp_path):
    done = shell("demo", "--keep", tmp_path / "kept")
    assert done.returncode == 0
    assert (tmp_path / "kept" / "tracehold.db").exists()
    url = re.search(r'TRACEHOLD_DATABASE_URL="(.*)"', done.stdout)[1]
    token = re.search(r"TRACEHOLD_API_KEY=(\S+)", done.stdout)[1]
    listed = shell("keys", "list", "--json", TRACEHOLD_DATABASE_URL=url)
    assert [token.startswith(f"th_{key['id']}_") for key in json.loads(listed.stdout)] == [True]
    again = shell("demo", "--keep", tmp_path / "kept")
    assert (again.returncode, again.stdout) == (3, "")
    assert "exists already" in again.stderr


@pytest.mark.parametrize(("no_color", "coloured"), [("", True), ("1", False)])
def test_a_terminal_gets_colours_unless_they_are_not_wanted(server, keys, no_color, coloured):
    ours, theirs = pty.openpty()
    done = subprocess.run(
        [sys.executable, "-m", "api", "decide", "10.000", *GUARDED],
        env=environment(
            TRACEHOLD_URL=server,
            TRACEHOLD_API_KEY=keys.token(),
            NO_COLOR=no_color,
            TERM="xterm-256color",
        ),
        stdout=theirs,
        stderr=subprocess.PIPE,
        check=True,
    )
    os.close(theirs)
    shown = os.read(ours, 65536).decode()
    os.close(ours)
    assert ("\x1b[32mpass" in shown, done.stderr) == (coloured, b"")
    assert ("\x1b[3" in shown) == coloured


def test_a_sound_store_is_verified_and_a_broken_one_is_named(run, tmp_path):
    address = f"sqlite:///{tmp_path / 'kept.db'}"
    run("migrate", TRACEHOLD_DATABASE_URL=address)
    run("keys", "create", "--name", "me", "--scopes", "read", TRACEHOLD_DATABASE_URL=address)
    whole = run("verify", "--json", TRACEHOLD_DATABASE_URL=address)
    assert whole.exit_code == 0
    assert json.loads(whole.stdout)["looked_at"]["journal"] == 1
    with sqlite3.connect(tmp_path / "kept.db") as connection:
        connection.execute("UPDATE journal_line SET body = replace(body, 'me', 'you')")
    connection.close()
    broken = run("verify", TRACEHOLD_DATABASE_URL=address)
    assert broken.exit_code == 1
    assert "journal: line 1: the line was changed" in broken.stdout


def test_a_recall_tells_that_it_no_longer_holds_and_the_comparison_is_a_command(
    ask, run, fault_file, database_url, client
):
    assert ask("import", DEMO / "laboratory.json").exit_code == 0
    assert ask("recall", fault_file).exit_code == 0
    shown = ask("recall", "--show", 1).stdout
    assert "STALE" not in shown
    assert "CHECKING" not in shown
    late = json.loads((DEMO / "laboratory.json").read_text())["calibrations"]
    first = json.loads(client.get("/v1/recalls/1").text)["affected"][0]
    copied = next(one for one in late if one["certificate"] == first["certificate"])
    copied = copied | {"certificate": "LATE-1", "revision": 0, "status": "issued"}
    copied["override"] = {"by": "Ida Example", "reason": "it was made before the recall"}
    answer = client.post("/v1/calibrations", json=copied)
    assert answer.status_code == 201, answer.text
    assert "CHECKING against today's records since" in ask("recall", "--show", 1).stdout
    whole = run("verify", "--recalls", 1, TRACEHOLD_DATABASE_URL=database_url)
    assert whole.exit_code == 0, whole.stdout
    checked = run("recalls", "check", TRACEHOLD_DATABASE_URL=database_url)
    assert (checked.exit_code, checked.stderr) == (0, "Recall R-00001: stale.\n")
    shown = ask("recall", "--show", 1).stdout
    assert re.search(r"STALE since .*LATE-1.*1 added", shown)
    assert run("recalls", "check", TRACEHOLD_DATABASE_URL=database_url).stderr == ""
    assert run("verify", TRACEHOLD_DATABASE_URL=database_url).exit_code == 0


def test_an_exported_journal_is_checked_without_the_database(run, tmp_path):
    address, file = f"sqlite:///{tmp_path / 'kept.db'}", tmp_path / "journal.ndjson"
    run("migrate", TRACEHOLD_DATABASE_URL=address)
    for name in ("one", "two", "three"):
        run("keys", "create", "--name", name, "--scopes", "read", TRACEHOLD_DATABASE_URL=address)
    told = run("journal", "export", file, TRACEHOLD_DATABASE_URL=address)
    last = re.search(r"position (\d+) and hash (\w+)", told.stderr)
    anchor = ("--position", last[1], "--hash", last[2])
    assert run("journal", "verify", file, *anchor).exit_code == 0
    lines = file.read_bytes().splitlines(keepends=True)
    file.write_bytes(b"".join(lines[:2]))
    assert run("journal", "verify", file).exit_code == 0  # a cut end cannot be seen in the file
    assert run("journal", "verify", file, *anchor).exit_code == 1
    file.write_bytes(lines[0] + lines[2] + lines[1])
    assert "removed, added or moved" in run("journal", "verify", file).stdout
    file.write_bytes(b"not a journal")
    assert run("journal", "verify", file).exit_code == 3


@pytest.fixture
def passing(tmp_path):
    """A file of one result that passes."""
    file = tmp_path / "results.csv"
    file.write_text("value,U,lower,upper,rule\n10,0.1,9,11,simple\n")
    return file


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [(KeyboardInterrupt, 130, "Interrupted"), (RuntimeError("a fault"), 70, "a fault")],
)
def test_however_evaluate_ends_it_is_no_nonconformity(
    run, passing, monkeypatch, raised, code, said
):
    def fall(*_):
        raise raised

    monkeypatch.setattr("api.commands.offline._finish", fall)
    ended = run("evaluate", passing, "--fail-on-nonconformity")
    assert ended.exit_code == code
    assert said in ended.stderr


@pytest.mark.parametrize(
    ("arguments", "closed", "said"),
    [
        (("-", "--format", "csv"), "<&-", "standard input is closed"),
        (("results.csv",), ">&-", "standard output is closed"),
    ],
)
def test_a_closed_stream_is_told_and_refused(passing, arguments, closed, said):
    command = [sys.executable, "-m", "api", "evaluate", *arguments, "--fail-on-nonconformity"]
    ended = subprocess.run(
        ["sh", "-c", f'"$@" {closed}', "sh", *command],
        cwd=passing.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert (ended.returncode, "Traceback" in ended.stderr) == (3, False)
    assert said in ended.stderr


@pytest.mark.parametrize("option", ["--rules", "--specifications"])
def test_evaluate_does_not_write_over_what_it_reads(run, passing, option):
    read = passing.with_name("read.json")
    read.write_text("[]")
    refused = run("evaluate", passing, option, read, "-o", read)
    assert refused.exit_code == 2
    assert f"it is {option} itself" in refused.stderr
    assert read.read_text() == "[]"
