"""The laboratory of the tests of alerts, empty at first."""

from __future__ import annotations

import pytest

from tests.api.services.alerts.alert_laboratory import Laboratory


@pytest.fixture
def laboratory(client):
    """Shorthands for what is recorded and asked."""
    return Laboratory(client)
