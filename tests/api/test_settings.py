"""Settings: each has a name, a default and a meaning; what cannot be used is refused by name."""

from __future__ import annotations

from dataclasses import fields

import pytest

from api import settings
from api.client.errors import URL_VARIABLE
from api.client.wire import KEY_VARIABLE
from api.settings import (
    SettingError,
    Settings,
    listed,
    masked,
    masked_key,
    unknown_variables,
    unknown_warnings,
)


def test_without_an_environment_every_setting_has_a_default_that_can_be_used():
    assert Settings.from_environment({}) == Settings()


def test_an_empty_variable_is_one_that_was_not_set():
    assert Settings.from_environment({"TRACEHOLD_LOG_FORMAT": ""}).log_format == "json"


@pytest.mark.parametrize(
    ("name", "value", "remedy"),
    [
        ("TRACEHOLD_DATABASE_URL", "mysql://x/y", "sqlite:///FILE or postgresql://"),
        ("TRACEHOLD_MAX_BODY_BYTES", "64 MB", "a whole number from 1 to"),
        ("TRACEHOLD_MAX_BODY_BYTES", "0", "a whole number from 1 to"),
        ("TRACEHOLD_MAX_BODY_BYTES", "²", "a whole number from 1 to"),
        ("TRACEHOLD_REQUIRE_PERSON", "maybe", "one of yes, no, true, false, 1, 0"),
        ("TRACEHOLD_LOG_FORMAT", "xml", "one of json, text"),
        ("TRACEHOLD_LOG_LEVEL", "loud", "one of debug, info, warning, error"),
        ("TRACEHOLD_METRICS", "everybody", "one of loopback, nobody"),
        ("TRACEHOLD_TRUSTED_PROXIES", "-1", "a whole number from 0 to 16"),
        ("TRACEHOLD_STOP_SECONDS", "1.5", "a whole number from 0 to 3600"),
    ],
)
def test_a_value_that_cannot_be_used_is_refused_with_name_value_and_remedy(name, value, remedy):
    with pytest.raises(SettingError) as refused:
        Settings.from_environment({name: value})
    for part in (name, f'"{value}"', remedy):
        assert part in str(refused.value)


@pytest.mark.parametrize("value", ["JSON", "Text", "json"])
def test_the_case_of_a_word_does_not_matter(value):
    assert Settings(log_format=value).log_format == value


def test_a_refused_address_is_told_without_its_password():
    with pytest.raises(SettingError) as refused:
        Settings(database_url="postgres://lab:s3cret@db/lab")
    assert "s3cret" not in str(refused.value)


@pytest.mark.parametrize(
    ("address", "shown"),
    [
        ("sqlite:///lab.db", "sqlite:///lab.db"),
        ("postgresql://db/lab", "postgresql://db/lab"),
        ("postgresql://lab@db/lab", "postgresql://lab@db/lab"),
        ("postgresql://lab:pw@db:5432/lab", "postgresql://lab:***@db:5432/lab"),
        ("postgresql://lab:p@w:x/y@db/lab", "postgresql://lab:***@db/lab"),
        ("postgresql://:pw@db/lab", "postgresql://:***@db/lab"),
        (
            "postgresql://db/lab?user=lab&PassWord=pw&sslpassword=x&connect_timeout=5",
            "postgresql://db/lab?user=lab&PassWord=***&sslpassword=***&connect_timeout=5",
        ),
    ],
)
def test_the_passwords_of_an_address_are_hidden(address, shown):
    assert masked(address) == shown


@pytest.mark.parametrize(
    ("token", "shown"), [("th_0a1b_s3cret", "th_0a1b_***"), ("s3cret", "***"), ("", "")]
)
def test_of_a_key_its_public_part_is_shown_at_most(token, shown):
    assert masked_key(token) == shown


def test_the_list_names_every_setting_with_its_present_value_even_one_that_cannot_be_used():
    environment = {"TRACEHOLD_LOG_LEVEL": "loud", "TRACEHOLD_DATABASE_URL": "postgresql://a:b@c/d"}
    shown = {one.variable: one for one in listed(environment)}
    assert len(shown) == len(fields(Settings))
    assert shown["TRACEHOLD_LOG_LEVEL"].value == "loud"
    assert shown["TRACEHOLD_LOG_LEVEL"].default == "info"
    assert shown["TRACEHOLD_DATABASE_URL"].value == "postgresql://a:***@c/d"
    assert shown["TRACEHOLD_STOP_SECONDS"].value == "30"
    assert all(one.meaning for one in shown.values())


def test_an_unknown_variable_of_ours_is_named_with_the_nearest_known_one():
    environment = {
        "TRACEHOLD_LOG_LEVL": "x",
        "TRACEHOLD_XQZWJVKYXQZWJ": "x",
        "PATH": "x",
        "TRACEHOLD_URL": "x",
    }
    assert unknown_variables(environment) == [
        ("TRACEHOLD_LOG_LEVL", "TRACEHOLD_LOG_LEVEL"),
        ("TRACEHOLD_XQZWJVKYXQZWJ", None),
    ]
    nearest, strange = unknown_warnings(environment)
    assert nearest.endswith("did you mean TRACEHOLD_LOG_LEVEL?")
    assert strange == "TRACEHOLD_XQZWJVKYXQZWJ is no setting of this version."


def test_the_names_that_the_client_reads_are_known():
    assert (settings.URL, settings.KEY) == (URL_VARIABLE, KEY_VARIABLE)
