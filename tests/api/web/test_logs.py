"""A line of the log is one JSON object, or text from which no second line can be forged."""

from __future__ import annotations

import json
import logging
import sys

import pytest

from api.web.logs import FACTS, JsonFormatter, TextFormatter, configure


def record(message="done", *given, facts=None, error=None):
    made = logging.LogRecord("api.test", logging.INFO, "x.py", 1, message, given, error)
    made.created = 1741608000.1239  # 2025-03-10T12:00:00.1239Z, by date -u -d @1741608000
    if facts is not None:
        setattr(made, FACTS, facts)
    return made


def caught():
    try:
        raise KeyError("lost")
    except KeyError:
        return sys.exc_info()


@pytest.fixture
def restored():
    """Put the loggers of the process back afterwards."""
    root, ours = logging.getLogger(), logging.getLogger("api")
    queue = logging.getLogger("waitress.queue")
    before = root.handlers[:], root.level, ours.level, queue.level
    told = logging.logThreads, logging.logProcesses, logging.logMultiprocessing
    yield
    logging.logThreads, logging.logProcesses, logging.logMultiprocessing = told
    logging.captureWarnings(False)
    root.handlers[:] = before[0]
    for logger, level in zip((root, ours, queue), before[1:], strict=True):
        logger.setLevel(level)


def test_a_line_is_a_json_object_with_the_time_in_utc():
    assert json.loads(JsonFormatter().format(record("%s of %d", "all", 3))) == {
        "time": "2025-03-10T12:00:00.123Z",
        "level": "INFO",
        "logger": "api.test",
        "message": "all of 3",
    }


def test_the_facts_of_a_record_are_fields():
    line = json.loads(JsonFormatter().format(record(facts={"status": 200, "key": None})))
    assert (line["status"], line["key"]) == (200, None)


def test_a_traceback_is_a_field_and_the_line_stays_one_line():
    text = JsonFormatter().format(record(error=caught()))
    line = json.loads(text)
    assert "\n" not in text
    assert line["exception"] == "KeyError"
    assert line["traceback"].startswith("Traceback")
    assert "KeyError: 'lost'" in line["traceback"]


def test_whatever_a_message_holds_can_be_written():
    line = JsonFormatter().format(record("half \ud800 and \x00", facts={"odd": object()}))
    assert json.loads(line)["message"] == "half \ud800 and \x00"
    line.encode("ascii")


def test_a_line_within_a_request_has_its_id(app):
    with app.test_request_context(headers={"X-Request-Id": "job-7"}):
        assert json.loads(JsonFormatter().format(record()))["request_id"] == "job-7"


def test_text_is_for_people_and_leaves_out_what_is_not_known():
    line = TextFormatter().format(record(facts={"status": 200, "key": None, "person": "A B"}))
    assert line == ('2025-03-10T12:00:00.123Z INFO done logger=api.test status=200 person="A B"')


def test_a_line_of_text_cannot_be_forged():
    line = TextFormatter().format(record("a\nb", facts={"person": "x\n2025 INFO"}))
    assert "\n" not in line
    assert TextFormatter().format(record(error=caught())).count("\n") > 1


def test_ours_is_told_from_the_level_on_and_libraries_from_warning_on(restored, capsys):
    configure("json", "info")
    logging.getLogger("api.requests").info("ours")
    logging.getLogger("api.requests").debug("too fine")
    logging.getLogger("fontTools.subset").info("chatter")
    logging.getLogger("waitress.queue").warning("one more")
    logging.getLogger("sqlalchemy.pool").warning("theirs")
    lines = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    assert [line["message"] for line in lines] == ["ours", "theirs"]


def test_the_level_error_is_errors_of_libraries_too(restored, capsys):
    configure("TEXT", "Error")
    logging.getLogger("api").warning("ours")
    logging.getLogger("sqlalchemy.pool").warning("theirs")
    logging.getLogger("sqlalchemy.pool").error("broken")
    assert capsys.readouterr().err.count("\n") == 1
