"""The application: the one place where its parts are joined.

``create_app`` makes a WSGI application; it migrates nothing and starts nothing. Resources are
joined through ``BLUEPRINTS``, pages through ``PAGES``. ``work_on`` hands it its database and all
that it remembers of it.
"""

from __future__ import annotations

from pathlib import Path

from flask import Flask
from werkzeug.middleware.proxy_fix import ProxyFix

from api.pages import alerts as alert_pages
from api.pages import certificates as certificate_pages
from api.pages import decisions as decision_pages
from api.pages import docs, recall_files, recall_work, sessions, start, stops
from api.pages import faults as fault_pages
from api.pages import items as item_pages
from api.pages import notices as notice_pages
from api.pages import problems as page_problems
from api.pages import recalls as recall_pages
from api.resources import (
    agreements,
    alerts,
    batches,
    calibrations,
    cases,
    certificates,
    changes,
    checks,
    class_tables,
    cmcs,
    compositions,
    corrected_revisions,
    corrective_steps,
    csv_imports,
    customers,
    cycles,
    deadweight_forces,
    decision_rules,
    decisions,
    dispositions,
    evidence,
    exports,
    health,
    identity_swaps,
    imports,
    interval_advice,
    items,
    joint_decisions,
    journal,
    keys,
    laboratory,
    load_events,
    machine_evaluations,
    metrics,
    notice_exceptions,
    notices,
    persons,
    recalls,
    requirements,
    run_evaluations,
    setup_checks,
    setup_comparisons,
    specifications,
    uncertainty_budgets,
    uncertainty_components,
    webhooks,
)
from api.schemas.fields import DecimalText, FreeObject, MomentText, Text, WholeNumber
from api.services.alerts import raising
from api.services.base.cautions import CAUTION
from api.services.decisions.decisions import KEEPER, Keeper
from api.settings import Settings
from api.store.database import Database
from api.version import VERSION
from api.web import (
    auth,
    collector,
    etags,
    idempotency,
    observing,
    rates,
    request_id,
    security,
    transactions,
)
from api.web import metrics as counting
from api.web.json import DecimalJSONProvider
from api.web.openapi import Api

BLUEPRINTS = [
    items.blp,
    interval_advice.blp,
    compositions.blp,
    identity_swaps.blp,
    calibrations.blp,
    certificates.blp,
    checks.blp,
    customers.blp,
    imports.blp,
    csv_imports.blp,
    recalls.blp,
    alerts.blp,
    cases.blp,
    corrected_revisions.blp,
    corrective_steps.blp,
    notice_exceptions.blp,
    dispositions.blp,
    notices.blp,
    exports.blp,
    evidence.blp,
    changes.blp,
    webhooks.blp,
    laboratory.blp,
    decisions.blp,
    joint_decisions.blp,
    batches.blp,
    decision_rules.blp,
    specifications.blp,
    agreements.blp,
    requirements.blp,
    setup_checks.blp,
    load_events.blp,
    cycles.blp,
    run_evaluations.blp,
    machine_evaluations.blp,
    class_tables.blp,
    deadweight_forces.blp,
    uncertainty_budgets.blp,
    uncertainty_components.blp,
    cmcs.blp,
    setup_comparisons.blp,
    keys.blp,
    persons.blp,
    journal.blp,
    health.blp,
    metrics.blp,
]
PAGES = [
    docs.blp,
    sessions.blp,
    start.blp,
    alert_pages.blp,
    stops.blp,
    certificate_pages.blp,
    decision_pages.blp,
    recall_pages.blp,
    recall_work.blp,
    notice_pages.blp,
    recall_files.blp,
    item_pages.blp,
    fault_pages.blp,
]

DESCRIPTION = f"""\
Decides whether force calibration results conform, knows what every certificate rests on, and \
finds the certificates that a fault affects.

**Caution.** {CAUTION}

Decimal numbers may be sent as strings or as JSON numbers and come back as strings with their \
digits. Instants have a zone; a bare date counts as the whole day in the laboratory's `time_zone`. \
Errors are problem details (RFC 9457).

Send an API key as `Authorization: Bearer <key>`; `x-scope` names the scope that an operation \
needs; a key that belongs to a customer may use only operations with `x-customer-keys: true`, and \
sees its own records there. A POST that is sent again after a dropped connection is done once and \
answered the same, if both carry one `Idempotency-Key`.

Where to begin: **imports** for what goes in, **recalls** for kinds of fault and the lists of an \
answer, **decisions** and **batches**, **setup_checks** before a load is applied, \
**uncertainty_budgets**, **calibrations** for all of it in one flow, and **changes** for a LIMS \
that follows.\
"""


def create_app(settings: Settings | None = None, database: Database | None = None) -> Flask:
    """Make the application on a database that has been migrated already.

    Without arguments settings come from the environment; ``database`` overrides their address.
    """
    settings = settings or Settings.from_environment()
    collector.collect_seldom()
    app = Flask("api", root_path=str(Path(__file__).parent), static_folder=None)
    app.json = DecimalJSONProvider(app)
    app.url_map.strict_slashes = False
    app.config.update(
        MAX_CONTENT_LENGTH=int(settings.max_body_bytes),
        METRICS_OPEN_TO=settings.metrics.lower(),
        MAX_RECORD_BYTES=int(settings.max_record_bytes),
        MAX_IMPORT_RECORDS=int(settings.max_import_records),
        MAX_BATCH_ROWS=int(settings.max_batch_rows),
        WEBHOOKS_TO_PRIVATE=Settings.is_yes(settings.webhooks_to_private),
        REQUIRE_PERSON=Settings.is_yes(settings.require_person),
        API_TITLE="Tracehold",
        API_VERSION=VERSION,
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX="/v1",
        OPENAPI_JSON_PATH="openapi.json",
        API_SPEC_OPTIONS={"info": {"description": DESCRIPTION}},
    )
    for part in (observing, etags, security, request_id):
        part.install(app)
    rates.install(
        app,
        int(settings.rate_per_minute),
        int(settings.rate_burst),
        int(settings.failed_keys_per_minute),
    )
    work_on(app, database or Database(settings.database_url))
    _join(app)
    proxies = int(settings.trusted_proxies)
    if proxies:
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]  # Flask's own way of wrapping
            app.wsgi_app, x_for=proxies, x_proto=proxies, x_host=proxies
        )
    return app


def work_on(app: Flask, database: Database) -> None:
    """Let the application work on a database; what it knew of one before is forgotten.

    That is: keys it verified, rates they spent, what is counted, and when kept answers were last
    looked through. No request may be running.
    """
    app.extensions[transactions.EXTENSION] = database
    database.follow = raising.follow
    meters = counting.install(app, database)
    app.extensions[KEEPER] = Keeper(database, meters.group_sizes.observe)
    auth.install(app)
    idempotency.install(app)
    rates.refill(app)


def _join(app: Flask) -> None:
    api = Api(app)
    api.register_field(DecimalText, "string", "decimal")
    api.register_field(MomentText, "string", None)
    api.register_field(Text, "string", None)
    api.register_field(WholeNumber, "integer", None)
    api.register_field(FreeObject, "object", None)
    api.spec.components.security_scheme(
        "apiKey", {"type": "http", "scheme": "bearer", "description": "API key with scopes"}
    )
    for blueprint in BLUEPRINTS:
        api.register_blueprint(blueprint)
    for page in PAGES:
        app.register_blueprint(page)
    page_problems.install(app)
    app.extensions["tracehold.openapi"] = api
