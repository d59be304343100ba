"""An application that holds the demo laboratory, and what every answer of it must be like."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path
from typing import Any

import schemathesis
from flask import Flask
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from api.app import create_app
from api.services.access.keys import SCOPES, create_key
from api.settings import Settings
from api.store import migrate
from api.store.backup import back_up
from api.store.database import Database
from tests.fuzz.corpus import DEMO, STORY

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]


class Trial:
    """The application under trial, a key for everything, and a count of the answers."""

    def __init__(self, folder: Path) -> None:
        self._file, self._kept = folder / "fuzz.db", folder / "kept.db"
        self.database = Database(f"sqlite:///{self._file}")
        migrate.upgrade(self.database)
        with self.database.write() as session:
            _, token = create_key(session, "fuzz", SCOPES, now=time.time_ns() // 1000)
        self.headers = {"Authorization": f"Bearer {token}"}
        self.app: Flask = create_app(Settings(webhooks_to_private="yes"), self.database)
        self.client = self.app.test_client()
        for path, body in (
            ("/v1/imports", json.loads((DEMO / "laboratory.json").read_text())),
            ("/v1/recalls", {"fault": STORY["fault"]}),
            ("/v1/setup-comparisons", json.loads((DEMO / "pin_comparison.json").read_text())),
        ):
            answer = self.client.post(path, json=body, headers=self.headers)
            assert answer.status_code == 201, answer.text
        self.schema = schemathesis.openapi.from_wsgi("/v1/openapi.json", self.app)
        self.answers: dict[int, int] = {}
        back_up(self.database, self._kept)

    def begin_anew(self) -> None:
        """Forget everything that was stored since the beginning."""
        self.database.dispose()
        for left in ("-wal", "-shm"):
            self._file.with_name(self._file.name + left).unlink(missing_ok=True)
        shutil.copyfile(self._kept, self._file)

    def count(self, status: int) -> None:
        """Count an answer by its status."""
        self.answers[status] = self.answers.get(status, 0) + 1

    def send(self, method: str, path: str, body: Any) -> Any:
        """Send a bent request; whatever comes must be an answer that the house can give."""
        headers = dict(self.headers)
        if method == "PATCH":
            shown = self.client.get(path, headers=self.headers)
            headers["If-Match"] = shown.headers.get("ETag", '"1"')
        data = json.dumps(body).encode("utf-8", "surrogatepass")
        answer = self.client.open(
            path, method=method, data=data, content_type="application/json", headers=headers
        )
        self.count(answer.status_code)
        assert answer.status_code < 500, (method, path, body, answer.text[:500])
        if answer.status_code >= 400:
            problem = json.loads(answer.text)
            assert answer.mimetype == "application/problem+json"
            assert problem["status"] == answer.status_code
            assert problem["detail"]
        elif answer.mimetype == "application/json":
            json.loads(answer.text, parse_constant=_refuse)
        return answer


def _refuse(constant: str) -> None:
    raise AssertionError(f"{constant} is not JSON")
