"""The application as a process serves it: settings from the environment, log, traces, application.

`tracehold serve` and WSGI servers (`gunicorn 'api.serving:application()'`) both come through here.
`create_app` alone starts and changes nothing outside of the app that it makes; a server has beside
it the work that no request waits for (`api.background`).
"""

from __future__ import annotations

import logging
import os

from flask import Flask

from api.app import create_app
from api.background import Background
from api.settings import Settings, unknown_warnings
from api.store.database import Database
from api.web import logs, telemetry, transactions

log = logging.getLogger(__name__)


def application() -> Flask:
    """Return the application for a WSGI server.

    Raises SettingError for a setting that cannot be used.
    """
    settings = Settings.from_environment()
    database = Database(settings.database_url)
    app = made(settings, database)
    if Settings.is_yes(settings.check_recalls):
        Background(database).start()
    for sentence in unknown_warnings(os.environ):
        log.warning(sentence)
    return app


def made(settings: Settings, database: Database) -> Flask:
    """Begin to log, and return the application on a database, traced if that is asked for."""
    logs.configure(settings.log_format, settings.log_level)
    app = create_app(settings, database)
    store: Database = app.extensions[transactions.EXTENSION]
    telemetry.configure(app, store.engine, os.environ)
    return app
