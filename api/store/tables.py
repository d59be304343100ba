"""Every table of the laboratory's records.

Instants: the text as received stands beside whole microseconds since 1970-01-01T00:00:00Z
(``*_us``); a bare date spans its day in the laboratory's zone, so a use has a first and a last
microsecond (``used_us``, ``used_end_us``; equal for an instant). A certificate row is one revision
with its own uses and results; revisions of one number share the calibration event.

``usage.source_id`` is the certificate whose value was in force when the item was used, and
``usage.evidence_id`` a later one that only confirmed limits (``assigns_value`` false). Both are
resolved when records are written, so that a recall walks keys and compares no dates.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Text,
    UniqueConstraint,
    text,
    true,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from api.store.spelling import folded
from api.store.types import DecimalText, JsonText

# SQLite gives row ids only to INTEGER keys; PostgreSQL wants 64 bits.
Key = BigInteger().with_variant(Integer, "sqlite")


class Base(DeclarativeBase):
    """Base of all tables, with the names that migrations rely on."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


class Laboratory(Base):
    """The one laboratory that this database belongs to."""

    __tablename__ = "laboratory"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    time_zone: Mapped[str] = mapped_column(Text)
    name: Mapped[str | None] = mapped_column(Text)
    address: Mapped[str | None] = mapped_column(Text)
    contact: Mapped[str | None] = mapped_column(Text)
    # Fields without which no certificate is issued, by name; none where nothing is asked.
    asked_at_issue: Mapped[Any | None] = mapped_column(JsonText)


class ImportRun(Base):
    """One import: when, how much, and the text that stood beside the records."""

    __tablename__ = "import_run"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    annotations: Mapped[Any] = mapped_column(JsonText)
    counts: Mapped[Any] = mapped_column(JsonText)


def _folded_name(context: Any) -> str:
    return folded(context.get_current_parameters()["name"])


class Customer(Base):
    """A customer of the laboratory, named as on its certificates; compared as `folded`."""

    __tablename__ = "customer"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    folded: Mapped[str] = mapped_column(Text, index=True, default=_folded_name)
    contact: Mapped[str | None] = mapped_column(Text)
    email: Mapped[str | None] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __mapper_args__ = {"version_id_col": version}


class Item(Base):
    """Anything that can influence a result."""

    __tablename__ = "item"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    kind: Mapped[str] = mapped_column(Text, index=True)
    type: Mapped[str | None] = mapped_column(Text)
    capacity: Mapped[str | None] = mapped_column(Text)
    make: Mapped[str | None] = mapped_column(Text)
    model: Mapped[str | None] = mapped_column(Text)
    channels: Mapped[Any | None] = mapped_column(JsonText)
    cycles_at_last_inspection: Mapped[int | None] = mapped_column(BigInteger)
    design_life_cycles: Mapped[int | None] = mapped_column(BigInteger)
    owner: Mapped[str | None] = mapped_column(Text)
    properties: Mapped[Any | None] = mapped_column(JsonText)
    in_service_from: Mapped[str | None] = mapped_column(Text)
    in_service_us: Mapped[int | None] = mapped_column(BigInteger)
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    content_hash: Mapped[str] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __mapper_args__ = {"version_id_col": version}


class Composition(Base):
    """A part in an assembly, from (inclusive) until (exclusive)."""

    __tablename__ = "composition"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    assembly_id: Mapped[int] = mapped_column(ForeignKey("item.id"), index=True)
    part_id: Mapped[int] = mapped_column(ForeignKey("item.id"), index=True)
    held_from: Mapped[str] = mapped_column(Text)
    held_until: Mapped[str | None] = mapped_column(Text)
    from_us: Mapped[int] = mapped_column(BigInteger)
    until_us: Mapped[int | None] = mapped_column(BigInteger)
    # How much of the assembly's force the part carries.
    share: Mapped[Decimal | None] = mapped_column(DecimalText)
    withdrawn: Mapped[bool] = mapped_column(default=False)
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    content_hash: Mapped[str] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __table_args__ = (UniqueConstraint("assembly_id", "part_id", "from_us"),)
    __mapper_args__ = {"version_id_col": version}


class DecisionRule(Base):
    """One version of a decision rule; never changed once recorded."""

    __tablename__ = "decision_rule"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    rule_version: Mapped[int] = mapped_column(Integer)
    definition: Mapped[Any] = mapped_column(JsonText)
    prescribed_by: Mapped[str | None] = mapped_column(Text)
    agreed_with: Mapped[str | None] = mapped_column(Text)
    agreed_at: Mapped[str | None] = mapped_column(Text)
    note: Mapped[str | None] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "rule_version"),)


class Specification(Base):
    """One version of a specification whose tolerance is a sum of terms."""

    __tablename__ = "specification"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text)
    spec_version: Mapped[int] = mapped_column(Integer)
    title: Mapped[str | None] = mapped_column(Text)
    edition: Mapped[str | None] = mapped_column(Text)
    source: Mapped[str | None] = mapped_column(Text)
    definition: Mapped[Any] = mapped_column(JsonText)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("code", "spec_version"),)


class Certificate(Base):
    """One revision of a certificate and the calibration it reports."""

    __tablename__ = "certificate"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    issuer: Mapped[str] = mapped_column(Text, default="")
    number: Mapped[str] = mapped_column(Text)
    revision: Mapped[int] = mapped_column(Integer)
    status: Mapped[str] = mapped_column(Text)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"), index=True)
    performed_at: Mapped[str] = mapped_column(Text)
    performed_us: Mapped[int] = mapped_column(BigInteger)
    performed_end_us: Mapped[int] = mapped_column(BigInteger)
    issued_at: Mapped[str | None] = mapped_column(Text)
    issued_us: Mapped[int | None] = mapped_column(BigInteger)
    due_at: Mapped[str | None] = mapped_column(Text)
    due_us: Mapped[int | None] = mapped_column(BigInteger)
    external: Mapped[bool] = mapped_column(default=False)
    accreditation: Mapped[str | None] = mapped_column(Text)
    method: Mapped[str | None] = mapped_column(Text)
    mode: Mapped[str | None] = mapped_column(Text)
    # The customer's order that it was made for.
    order: Mapped[str | None] = mapped_column("order_number", Text)
    # Which version of which agreement it was recorded or issued under: a later one changes nothing.
    agreement: Mapped[Any | None] = mapped_column(JsonText)
    adjusted: Mapped[bool | None] = mapped_column()
    assigns_value: Mapped[bool] = mapped_column(default=True)
    amendment: Mapped[str | None] = mapped_column(Text)
    superseded_by: Mapped[str | None] = mapped_column(Text)
    void_reason: Mapped[str | None] = mapped_column(Text)
    voided_at: Mapped[str | None] = mapped_column(Text)
    voided_us: Mapped[int | None] = mapped_column(BigInteger)
    # A draft that was voided: it never served anybody, whatever its dates.
    never_issued: Mapped[bool] = mapped_column(default=False)
    # When its value serves uses, from (inclusive) until (exclusive); derived by `api.store.serving`
    # from all revisions of its number. Without a beginning it never serves.
    serves_from_us: Mapped[int | None] = mapped_column(BigInteger)
    serves_until_us: Mapped[int | None] = mapped_column(BigInteger)
    # Smallest and largest force that it calibrated, zero left out, in newton, as exact fractions;
    # derived from its results, so that a recall need not read them.
    span_from: Mapped[str | None] = mapped_column(Text)
    span_to: Mapped[str | None] = mapped_column(Text)
    load_applications: Mapped[int | None] = mapped_column(BigInteger)
    # What it was measured in, as it was named: set-up check, run evaluation and budget, the last
    # two for all its results or by stage. Each result keeps what its numbers were taken from.
    setup_check_id: Mapped[int | None] = mapped_column(ForeignKey("setup_check.id"))
    run_evaluation: Mapped[Any | None] = mapped_column(JsonText)
    budget: Mapped[Any | None] = mapped_column(JsonText)
    # The polynomial that it assigns, its range told.
    curve: Mapped[Any | None] = mapped_column(JsonText)
    # What stands on the paper beside the results.
    place: Mapped[str | None] = mapped_column(Text)
    conditions: Mapped[str | None] = mapped_column(Text)
    received_at: Mapped[str | None] = mapped_column(Text)
    performed_by: Mapped[str | None] = mapped_column(Text)
    authorised_by: Mapped[str | None] = mapped_column(Text)
    # What was taken from its errors for faults that recalls found: recall, windows, deltas.
    fault_corrections: Mapped[Any | None] = mapped_column(JsonText)
    # The roles of its uses, each between marks (`links.role_mark`), so that a gap in the records is
    # found without reading them.
    roles: Mapped[str] = mapped_column(Text, default="")
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    content_hash: Mapped[str] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __table_args__ = (
        UniqueConstraint("issuer", "number", "revision"),
        CheckConstraint("status IN ('draft','issued','superseded','voided')", name="status"),
        Index("ix_certificate_in_force", "item_id", "performed_us", "revision"),
        Index("ix_certificate_number", "number"),
        Index("ix_certificate_method", "method"),
        Index("ix_certificate_roles", "roles", "performed_us"),
        Index(
            "ix_certificate_corrected",
            "id",
            sqlite_where=text("fault_corrections IS NOT NULL"),
            postgresql_where=text("fault_corrections IS NOT NULL"),
        ),
        # The store itself refuses two issued revisions of one number.
        Index(
            "uq_certificate_issued",
            "issuer",
            "number",
            unique=True,
            sqlite_where=text("status = 'issued'"),
            postgresql_where=text("status = 'issued'"),
        ),
    )
    __mapper_args__ = {"version_id_col": version}


class Usage(Base):
    """One item that a calibration used, with its share and the certificate then in force."""

    __tablename__ = "usage"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"), index=True)
    position: Mapped[int] = mapped_column(Integer)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"))
    role: Mapped[str] = mapped_column(Text)
    weight: Mapped[Any | None] = mapped_column(JsonText)
    channel: Mapped[str | None] = mapped_column(Text)
    points: Mapped[Any | None] = mapped_column(JsonText)
    performed_at: Mapped[str | None] = mapped_column(Text)
    used_us: Mapped[int] = mapped_column(BigInteger)
    used_end_us: Mapped[int] = mapped_column(BigInteger)
    factor_applied: Mapped[Decimal | None] = mapped_column(DecimalText)
    named_certificate: Mapped[str | None] = mapped_column(Text)
    named_revision: Mapped[int | None] = mapped_column(Integer)
    source_id: Mapped[int | None] = mapped_column(ForeignKey("certificate.id"))
    evidence_id: Mapped[int | None] = mapped_column(ForeignKey("certificate.id"))
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    override: Mapped[Any | None] = mapped_column(JsonText)
    # The set-up check that it was taken from; none where it was sent itself.
    setup_check_id: Mapped[int | None] = mapped_column(ForeignKey("setup_check.id"))
    __table_args__ = (
        # Both are covering: the walk of a recall reads the index and nothing else.
        Index("ix_usage_source", "source_id", "certificate_id"),
        Index("ix_usage_item", "item_id", "used_us", "certificate_id"),
        Index(
            "ix_usage_evidence",
            "evidence_id",
            "certificate_id",
            sqlite_where=text("evidence_id IS NOT NULL"),
            postgresql_where=text("evidence_id IS NOT NULL"),
        ),
    )


class UseCorrection(Base):
    """A wrongly recorded use and what it was corrected to: by whom, when and why."""

    __tablename__ = "use_correction"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"), index=True)
    position: Mapped[int] = mapped_column(Integer)
    before: Mapped[Any | None] = mapped_column(JsonText)
    after: Mapped[Any | None] = mapped_column(JsonText)
    person: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)


class RecordCorrection(Base):
    """A holding, check or identity put right: what it said before and after, by whom and why.

    `record_id` is the key of the row in the table of its collection: a composition, a check, a
    certificate (calibrations), or for the collection identity one of the two items.
    """

    __tablename__ = "record_correction"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    collection: Mapped[str] = mapped_column(Text)
    record_id: Mapped[int] = mapped_column(Key)
    before: Mapped[Any] = mapped_column(JsonText)
    after: Mapped[Any | None] = mapped_column(JsonText)
    person: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    at_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (
        CheckConstraint(
            "collection IN ('composition','checks','calibrations','identity')", name="collection"
        ),
        Index("ix_record_correction_record", "collection", "record_id"),
    )


class Result(Base):
    """One measured point of a certificate; numbers as the text that was recorded."""

    __tablename__ = "result"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"), index=True)
    position: Mapped[int] = mapped_column(Integer)
    point: Mapped[Any] = mapped_column(JsonText)
    stage: Mapped[str] = mapped_column(Text)
    direction: Mapped[str | None] = mapped_column(Text)
    unit: Mapped[str | None] = mapped_column(Text)
    applied: Mapped[Decimal | None] = mapped_column(DecimalText)
    indicated: Mapped[Decimal | None] = mapped_column(DecimalText)
    error: Mapped[Decimal | None] = mapped_column(DecimalText)
    U: Mapped[Decimal | None] = mapped_column(DecimalText)
    k: Mapped[Decimal | None] = mapped_column(DecimalText)
    dof: Mapped[Decimal | None] = mapped_column(DecimalText)
    error_rel_pct: Mapped[Decimal | None] = mapped_column(DecimalText)
    U_rel_pct: Mapped[Decimal | None] = mapped_column(DecimalText)
    tolerance: Mapped[Any | None] = mapped_column(JsonText)
    tolerance_rel_pct: Mapped[Any | None] = mapped_column(JsonText)
    # The limits of the error, worked out from the tolerance once, when the result was recorded.
    limit_lower: Mapped[Decimal | None] = mapped_column(DecimalText)
    limit_upper: Mapped[Decimal | None] = mapped_column(DecimalText)
    rule_id: Mapped[int | None] = mapped_column(ForeignKey("decision_rule.id"))
    specification_id: Mapped[int | None] = mapped_column(ForeignKey("specification.id"))
    verdict_reported: Mapped[str | None] = mapped_column(Text)
    budget_id: Mapped[int | None] = mapped_column(ForeignKey("uncertainty_budget.id"))
    run_evaluation_id: Mapped[int | None] = mapped_column(ForeignKey("run_evaluation.id"))
    setup_check_id: Mapped[int | None] = mapped_column(ForeignKey("setup_check.id"))
    # Which of its numbers came from the run evaluation and which from the budget.
    taken: Mapped[Any | None] = mapped_column(JsonText)
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)


class Check(Base):
    """An intermediate check or inspection of an item."""

    __tablename__ = "intermediate_check"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    item_id: Mapped[int] = mapped_column(ForeignKey("item.id"), index=True)
    performed_at: Mapped[str] = mapped_column(Text)
    performed_us: Mapped[int] = mapped_column(BigInteger)
    performed_end_us: Mapped[int] = mapped_column(BigInteger)
    kind: Mapped[str | None] = mapped_column(Text)
    result: Mapped[str] = mapped_column(Text)
    acceptance_limit_rel: Mapped[Decimal | None] = mapped_column(DecimalText)
    U_rel: Mapped[Decimal | None] = mapped_column(DecimalText)
    independent: Mapped[bool | None] = mapped_column()
    against_id: Mapped[int | None] = mapped_column(ForeignKey("item.id"))
    covers: Mapped[Any | None] = mapped_column(JsonText)
    mode: Mapped[str | None] = mapped_column(Text)
    withdrawn: Mapped[bool] = mapped_column(default=False)
    wear_pct: Mapped[Decimal | None] = mapped_column(DecimalText)
    limit_pct: Mapped[Decimal | None] = mapped_column(DecimalText)
    note: Mapped[str | None] = mapped_column(Text)
    remarks: Mapped[Any | None] = mapped_column(JsonText)
    content_hash: Mapped[str] = mapped_column(Text)
    recorded_us: Mapped[int] = mapped_column(BigInteger)


class StoredDecision(Base):
    """A decision as it was given, with its input, rule version and engine version."""

    __tablename__ = "decision"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    engine_version: Mapped[str] = mapped_column(Text)
    rule_id: Mapped[int | None] = mapped_column(ForeignKey("decision_rule.id"))
    verdict: Mapped[str] = mapped_column(Text)
    request: Mapped[Any] = mapped_column(JsonText)
    answer: Mapped[Any] = mapped_column(JsonText)


class Recall(Base):
    """The stored, numbered, immutable answer to a fault."""

    __tablename__ = "recall"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    number: Mapped[str] = mapped_column(Text, unique=True)
    created_us: Mapped[int] = mapped_column(BigInteger)
    as_of_us: Mapped[int] = mapped_column(BigInteger)
    engine_version: Mapped[str] = mapped_column(Text)
    input_hash: Mapped[str] = mapped_column(Text)
    result_hash: Mapped[str] = mapped_column(Text)
    previous_id: Mapped[int | None] = mapped_column(ForeignKey("recall.id"))
    faults: Mapped[Any] = mapped_column(JsonText)
    head: Mapped[str] = mapped_column(Text)


class RecallEntry(Base):
    """One certificate in one list of a recall, as the JSON that was answered."""

    __tablename__ = "recall_entry"
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), primary_key=True)
    list_name: Mapped[str] = mapped_column(Text, primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    certificate_id: Mapped[int] = mapped_column(ForeignKey("certificate.id"), index=True)
    # Of the text, so that two looks are compared without reading it.
    body_hash: Mapped[str] = mapped_column(Text, server_default="")
    verdict_changes: Mapped[bool | None] = mapped_column()
    # What the list can be sorted and filtered by; the entry itself is the text.
    generation: Mapped[int] = mapped_column(Integer, default=0)
    item: Mapped[str] = mapped_column(Text)
    customer: Mapped[str | None] = mapped_column(Text)
    shift_over_U: Mapped[float | None] = mapped_column()
    shift_over_tolerance: Mapped[float | None] = mapped_column()
    body: Mapped[str] = mapped_column(Text)
    # By key what leads to it, as JSON; null where nothing does, and in recalls older than these.
    links: Mapped[str | None] = mapped_column(Text)


class RecallStale(Base):
    """A later record would change a stored recall, or no longer does (`stale` false): when and why.

    `differences` is what a second look would find, `position` what had been read to know it.
    """

    __tablename__ = "recall_stale"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    recall_id: Mapped[int] = mapped_column(ForeignKey("recall.id"), index=True)
    at_us: Mapped[int] = mapped_column(BigInteger)
    cause: Mapped[str] = mapped_column(Text)
    result_hash: Mapped[str] = mapped_column(Text)
    differences: Mapped[Any] = mapped_column(JsonText)
    stale: Mapped[bool] = mapped_column(server_default=true())
    position: Mapped[int] = mapped_column(BigInteger, server_default="0")


class Person(Base):
    """Somebody who works with the laboratory's records, apart from the keys of programs."""

    __tablename__ = "person"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    code: Mapped[str] = mapped_column(Text, unique=True)
    name: Mapped[str] = mapped_column(Text)
    office: Mapped[str | None] = mapped_column(Text)
    active: Mapped[bool] = mapped_column(default=True)
    recorded_us: Mapped[int] = mapped_column(BigInteger)
    version: Mapped[int] = mapped_column(Integer, default=1)
    __mapper_args__ = {"version_id_col": version}


class ApiKey(Base):
    """An API key: the secret itself is never stored, only its SHA-256."""

    __tablename__ = "api_key"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    public_id: Mapped[str] = mapped_column(Text, unique=True)
    name: Mapped[str] = mapped_column(Text)
    secret_hash: Mapped[str] = mapped_column(Text)
    scopes: Mapped[Any] = mapped_column(JsonText)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id"))
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"))
    created_us: Mapped[int] = mapped_column(BigInteger)
    expires_us: Mapped[int | None] = mapped_column(BigInteger)
    revoked_us: Mapped[int | None] = mapped_column(BigInteger)
    last_used_us: Mapped[int | None] = mapped_column(BigInteger)


class IdempotentAnswer(Base):
    """The answer to a POST that carried an Idempotency-Key, kept so that a retry gets it again."""

    __tablename__ = "idempotent_answer"
    id: Mapped[int] = mapped_column(Key, primary_key=True)
    api_key_id: Mapped[int] = mapped_column(ForeignKey("api_key.id"))
    idempotency_key: Mapped[str] = mapped_column(Text)
    request_hash: Mapped[str] = mapped_column(Text)
    status: Mapped[int] = mapped_column(Integer)
    headers: Mapped[Any] = mapped_column(JsonText)
    body: Mapped[str] = mapped_column(Text)
    created_us: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (UniqueConstraint("api_key_id", "idempotency_key"),)
