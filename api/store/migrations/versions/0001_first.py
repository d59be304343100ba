"""first

Revision 0001, after nothing.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "class_table",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("table_version", sa.Integer(), nullable=False),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_class_table")),
        sa.UniqueConstraint(
            "code", "table_version", name=op.f("uq_class_table_code_table_version")
        ),
    )
    op.create_table(
        "cmc",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("cmc_version", sa.Integer(), nullable=False),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cmc")),
        sa.UniqueConstraint("code", "cmc_version", name=op.f("uq_cmc_code_cmc_version")),
    )
    op.create_table(
        "customer",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=True),
        sa.Column("email", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customer")),
        sa.UniqueConstraint("name", name=op.f("uq_customer_name")),
    )
    op.create_table(
        "decision_rule",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("rule_version", sa.Integer(), nullable=False),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("prescribed_by", sa.Text(), nullable=True),
        sa.Column("agreed_with", sa.Text(), nullable=True),
        sa.Column("agreed_at", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decision_rule")),
        sa.UniqueConstraint(
            "code", "rule_version", name=op.f("uq_decision_rule_code_rule_version")
        ),
    )
    op.create_table(
        "import_run",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("annotations", sa.Text(), nullable=False),
        sa.Column("counts", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_run")),
    )
    op.create_table(
        "item",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=True),
        sa.Column("capacity", sa.Text(), nullable=True),
        sa.Column("channels", sa.Text(), nullable=True),
        sa.Column("cycles_at_last_inspection", sa.BigInteger(), nullable=True),
        sa.Column("design_life_cycles", sa.BigInteger(), nullable=True),
        sa.Column("owner", sa.Text(), nullable=True),
        sa.Column("properties", sa.Text(), nullable=True),
        sa.Column("in_service_from", sa.Text(), nullable=True),
        sa.Column("in_service_us", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
        sa.UniqueConstraint("code", name=op.f("uq_item_code")),
    )
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_item_kind"), ["kind"], unique=False)

    op.create_table(
        "journal_head",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_journal_head")),
    )
    op.create_table(
        "journal_line",
        sa.Column(
            "position",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=False,
            nullable=False,
        ),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("operation", sa.Text(), nullable=False),
        sa.Column("key_id", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("position", name=op.f("pk_journal_line")),
    )
    with op.batch_alter_table("journal_line", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_journal_line_at_us"), ["at_us"], unique=False)
        batch_op.create_index(batch_op.f("ix_journal_line_operation"), ["operation"], unique=False)

    op.create_table(
        "laboratory",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("address", sa.Text(), nullable=True),
        sa.Column("contact", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_laboratory")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("office", sa.Text(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("code", name=op.f("uq_person_code")),
    )
    op.create_table(
        "recall",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("as_of_us", sa.BigInteger(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("input_hash", sa.Text(), nullable=False),
        sa.Column("result_hash", sa.Text(), nullable=False),
        sa.Column(
            "previous_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("faults", sa.Text(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["previous_id"], ["recall.id"], name=op.f("fk_recall_previous_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall")),
        sa.UniqueConstraint("number", name=op.f("uq_recall_number")),
    )
    op.create_table(
        "setup_check",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_check")),
    )
    op.create_table(
        "setup_comparison",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("instrument_type", sa.Text(), nullable=False),
        sa.Column("performed_us", sa.BigInteger(), nullable=False),
        sa.Column("significant", sa.Boolean(), nullable=True),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_comparison")),
    )
    with op.batch_alter_table("setup_comparison", schema=None) as batch_op:
        batch_op.create_index(
            "ix_setup_comparison_type",
            ["instrument_type", "significant", "performed_us", "id"],
            unique=False,
        )

    op.create_table(
        "specification",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("spec_version", sa.Integer(), nullable=False),
        sa.Column("title", sa.Text(), nullable=True),
        sa.Column("edition", sa.Text(), nullable=True),
        sa.Column("source", sa.Text(), nullable=True),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_specification")),
        sa.UniqueConstraint(
            "code", "spec_version", name=op.f("uq_specification_code_spec_version")
        ),
    )
    op.create_table(
        "uncertainty_budget",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_uncertainty_budget")),
        sa.UniqueConstraint("code", name=op.f("uq_uncertainty_budget_code")),
    )
    op.create_table(
        "webhook",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("events", sa.Text(), nullable=False),
        sa.Column("cursor", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook")),
    )
    op.create_table(
        "api_key",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("public_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column(
            "customer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("expires_us", sa.BigInteger(), nullable=True),
        sa.Column("revoked_us", sa.BigInteger(), nullable=True),
        sa.Column("last_used_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_api_key_customer_id")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_api_key_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("public_id", name=op.f("uq_api_key_public_id")),
    )
    op.create_table(
        "case_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state_before", sa.Text(), nullable=False),
        sa.Column("state_after", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["recall_id"], ["recall.id"], name=op.f("fk_case_event_recall_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_event")),
    )
    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_case_event_recall_id"), ["recall_id"], unique=False)

    op.create_table(
        "certificate",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("issuer", sa.Text(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "customer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("performed_at", sa.Text(), nullable=False),
        sa.Column("performed_us", sa.BigInteger(), nullable=False),
        sa.Column("performed_end_us", sa.BigInteger(), nullable=False),
        sa.Column("issued_at", sa.Text(), nullable=True),
        sa.Column("due_at", sa.Text(), nullable=True),
        sa.Column("due_us", sa.BigInteger(), nullable=True),
        sa.Column("external", sa.Boolean(), nullable=False),
        sa.Column("accreditation", sa.Text(), nullable=True),
        sa.Column("method", sa.Text(), nullable=True),
        sa.Column("mode", sa.Text(), nullable=True),
        sa.Column("adjusted", sa.Boolean(), nullable=True),
        sa.Column("assigns_value", sa.Boolean(), nullable=False),
        sa.Column("amendment", sa.Text(), nullable=True),
        sa.Column("superseded_by", sa.Text(), nullable=True),
        sa.Column("void_reason", sa.Text(), nullable=True),
        sa.Column("load_applications", sa.BigInteger(), nullable=True),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "status IN ('draft','issued','superseded','voided')", name=op.f("ck_certificate_status")
        ),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_certificate_customer_id")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_certificate_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_certificate")),
        sa.UniqueConstraint(
            "issuer", "number", "revision", name=op.f("uq_certificate_issuer_number_revision")
        ),
    )
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_certificate_customer_id"), ["customer_id"], unique=False
        )
        batch_op.create_index(
            "ix_certificate_in_force", ["item_id", "performed_us", "revision"], unique=False
        )
        batch_op.create_index("ix_certificate_method", ["method"], unique=False)
        batch_op.create_index("ix_certificate_number", ["number"], unique=False)
        batch_op.create_index("ix_certificate_roles", ["roles", "performed_us"], unique=False)
        batch_op.create_index(
            "uq_certificate_issued",
            ["issuer", "number"],
            unique=True,
            sqlite_where=sa.text("status = 'issued'"),
            postgresql_where=sa.text("status = 'issued'"),
        )

    op.create_table(
        "composition",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "assembly_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("part_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("held_from", sa.Text(), nullable=False),
        sa.Column("held_until", sa.Text(), nullable=True),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["assembly_id"], ["item.id"], name=op.f("fk_composition_assembly_id")
        ),
        sa.ForeignKeyConstraint(["part_id"], ["item.id"], name=op.f("fk_composition_part_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_composition")),
        sa.UniqueConstraint(
            "assembly_id",
            "part_id",
            "from_us",
            name=op.f("uq_composition_assembly_id_part_id_from_us"),
        ),
    )
    with op.batch_alter_table("composition", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_composition_assembly_id"), ["assembly_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_composition_part_id"), ["part_id"], unique=False)

    op.create_table(
        "decision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("rule_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["rule_id"], ["decision_rule.id"], name=op.f("fk_decision_rule_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decision")),
    )
    op.create_table(
        "intermediate_check",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("performed_at", sa.Text(), nullable=False),
        sa.Column("performed_us", sa.BigInteger(), nullable=False),
        sa.Column("performed_end_us", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=True),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("acceptance_limit_rel", sa.Text(), nullable=True),
        sa.Column("U_rel", sa.Text(), nullable=True),
        sa.Column("independent", sa.Boolean(), nullable=True),
        sa.Column(
            "against_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("covers", sa.Text(), nullable=True),
        sa.Column("wear_pct", sa.Text(), nullable=True),
        sa.Column("limit_pct", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["against_id"], ["item.id"], name=op.f("fk_intermediate_check_against_id")
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_intermediate_check_item_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intermediate_check")),
        sa.UniqueConstraint("code", name=op.f("uq_intermediate_check_code")),
    )
    with op.batch_alter_table("intermediate_check", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_intermediate_check_item_id"), ["item_id"], unique=False
        )

    op.create_table(
        "load_event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("at_end_us", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("force", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("applications", sa.BigInteger(), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_load_event_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_load_event")),
        sa.UniqueConstraint("code", name=op.f("uq_load_event_code")),
    )
    with op.batch_alter_table("load_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_load_event_item_id"), ["item_id"], unique=False)

    op.create_table(
        "notice",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column(
            "customer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "replaces_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("reply_by", sa.Text(), nullable=False),
        sa.Column("reply_by_us", sa.BigInteger(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_notice_customer_id")
        ),
        sa.ForeignKeyConstraint(["recall_id"], ["recall.id"], name=op.f("fk_notice_recall_id")),
        sa.ForeignKeyConstraint(["replaces_id"], ["notice.id"], name=op.f("fk_notice_replaces_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice")),
        sa.UniqueConstraint("number", name=op.f("uq_notice_number")),
        sa.UniqueConstraint("recall_id", "position", name=op.f("uq_notice_recall_id_position")),
    )
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_notice_customer_id"), ["customer_id"], unique=False)

    op.create_table(
        "recall_case",
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_case_recall_id")
        ),
        sa.PrimaryKeyConstraint("recall_id", name=op.f("pk_recall_case")),
    )
    op.create_table(
        "recall_stale",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("result_hash", sa.Text(), nullable=False),
        sa.Column("differences", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_stale_recall_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_stale")),
    )
    with op.batch_alter_table("recall_stale", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recall_stale_recall_id"), ["recall_id"], unique=False)

    op.create_table(
        "requirement",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("requirement_version", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("type", sa.Text(), nullable=True),
        sa.Column("capacity", sa.Text(), nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("edition", sa.Text(), nullable=True),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_requirement_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_requirement")),
        sa.UniqueConstraint(
            "code", "requirement_version", name=op.f("uq_requirement_code_requirement_version")
        ),
    )
    with op.batch_alter_table("requirement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_requirement_item_id"), ["item_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_requirement_type"), ["type"], unique=False)

    op.create_table(
        "run_evaluation",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_run_evaluation_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run_evaluation")),
    )
    with op.batch_alter_table("run_evaluation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_evaluation_item_id"), ["item_id"], unique=False)

    op.create_table(
        "setup_check_item",
        sa.Column(
            "setup_check_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_setup_check_item_item_id")),
        sa.ForeignKeyConstraint(
            ["setup_check_id"], ["setup_check.id"], name=op.f("fk_setup_check_item_setup_check_id")
        ),
        sa.PrimaryKeyConstraint("setup_check_id", "item_id", name=op.f("pk_setup_check_item")),
    )
    with op.batch_alter_table("setup_check_item", schema=None) as batch_op:
        batch_op.create_index(
            "ix_setup_check_item_item", ["item_id", "setup_check_id"], unique=False
        )

    op.create_table(
        "setup_comparison_item",
        sa.Column(
            "comparison_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["comparison_id"],
            ["setup_comparison.id"],
            name=op.f("fk_setup_comparison_item_comparison_id"),
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_setup_comparison_item_item_id")
        ),
        sa.PrimaryKeyConstraint(
            "comparison_id", "item_id", "role", name=op.f("pk_setup_comparison_item")
        ),
    )
    with op.batch_alter_table("setup_comparison_item", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_setup_comparison_item_item_id"), ["item_id"], unique=False
        )

    op.create_table(
        "webhook_delivery",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "webhook_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_us", sa.BigInteger(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("outcomes", sa.Text(), nullable=False),
        sa.Column("ended_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["webhook_id"], ["webhook.id"], name=op.f("fk_webhook_delivery_webhook_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_delivery")),
    )
    with op.batch_alter_table("webhook_delivery", schema=None) as batch_op:
        batch_op.create_index(
            "ix_webhook_delivery_state", ["webhook_id", "state", "id"], unique=False
        )

    op.create_table(
        "change",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("event", sa.Text(), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column(
            "customer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("notice_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("detail", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_change_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_change_customer_id")
        ),
        sa.ForeignKeyConstraint(["notice_id"], ["notice.id"], name=op.f("fk_change_notice_id")),
        sa.ForeignKeyConstraint(["recall_id"], ["recall.id"], name=op.f("fk_change_recall_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
    )
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_change_at_us"), ["at_us"], unique=False)
        batch_op.create_index(
            "ix_change_customer",
            ["customer_id", "id"],
            unique=False,
            sqlite_where=sa.text("customer_id IS NOT NULL"),
            postgresql_where=sa.text("customer_id IS NOT NULL"),
        )

    op.create_table(
        "disposition",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("list_name", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("justification", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_disposition_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_disposition_recall_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_disposition")),
    )
    with op.batch_alter_table("disposition", schema=None) as batch_op:
        batch_op.create_index("ix_disposition_certificate", ["certificate_id"], unique=False)
        batch_op.create_index(
            "ix_disposition_recall", ["recall_id", "certificate_id", "id"], unique=False
        )

    op.create_table(
        "idempotent_answer",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "api_key_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("idempotency_key", sa.Text(), nullable=False),
        sa.Column("request_hash", sa.Text(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("headers", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["api_key_id"], ["api_key.id"], name=op.f("fk_idempotent_answer_api_key_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_idempotent_answer")),
        sa.UniqueConstraint(
            "api_key_id",
            "idempotency_key",
            name=op.f("uq_idempotent_answer_api_key_id_idempotency_key"),
        ),
    )
    op.create_table(
        "notice_record",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "notice_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("party", sa.Text(), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["notice_id"], ["notice.id"], name=op.f("fk_notice_record_notice_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice_record")),
    )
    with op.batch_alter_table("notice_record", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_notice_record_notice_id"), ["notice_id"], unique=False)

    op.create_table(
        "page_session",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("cookie_hash", sa.Text(), nullable=False),
        sa.Column(
            "api_key_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("created_us", sa.BigInteger(), nullable=False),
        sa.Column("seen_us", sa.BigInteger(), nullable=False),
        sa.Column("expires_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["api_key_id"], ["api_key.id"], name=op.f("fk_page_session_api_key_id")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_page_session_person_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_page_session")),
        sa.UniqueConstraint("cookie_hash", name=op.f("uq_page_session_cookie_hash")),
    )
    with op.batch_alter_table("page_session", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_page_session_api_key_id"), ["api_key_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_page_session_expires_us"), ["expires_us"], unique=False
        )

    op.create_table(
        "recall_entry",
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("list_name", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("verdict_changes", sa.Boolean(), nullable=True),
        sa.Column("generation", sa.Integer(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=True),
        sa.Column("shift_over_U", sa.Double(), nullable=True),
        sa.Column("shift_over_tolerance", sa.Double(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_recall_entry_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_entry_recall_id")
        ),
        sa.PrimaryKeyConstraint("recall_id", "list_name", "position", name=op.f("pk_recall_entry")),
    )
    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_recall_entry_certificate_id"), ["certificate_id"], unique=False
        )

    op.create_table(
        "result",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("point", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("direction", sa.Text(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("applied", sa.Text(), nullable=True),
        sa.Column("indicated", sa.Text(), nullable=True),
        sa.Column("error", sa.Text(), nullable=True),
        sa.Column("U", sa.Text(), nullable=True),
        sa.Column("k", sa.Text(), nullable=True),
        sa.Column("dof", sa.Text(), nullable=True),
        sa.Column("error_rel_pct", sa.Text(), nullable=True),
        sa.Column("U_rel_pct", sa.Text(), nullable=True),
        sa.Column("tolerance", sa.Text(), nullable=True),
        sa.Column("tolerance_rel_pct", sa.Text(), nullable=True),
        sa.Column("limit_lower", sa.Text(), nullable=True),
        sa.Column("limit_upper", sa.Text(), nullable=True),
        sa.Column("rule_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column(
            "specification_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("verdict_reported", sa.Text(), nullable=True),
        sa.Column("budget_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["budget_id"], ["uncertainty_budget.id"], name=op.f("fk_result_budget_id")
        ),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_result_certificate_id")
        ),
        sa.ForeignKeyConstraint(["rule_id"], ["decision_rule.id"], name=op.f("fk_result_rule_id")),
        sa.ForeignKeyConstraint(
            ["specification_id"], ["specification.id"], name=op.f("fk_result_specification_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_result")),
    )
    with op.batch_alter_table("result", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_result_certificate_id"), ["certificate_id"], unique=False
        )

    op.create_table(
        "usage",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("weight", sa.Text(), nullable=True),
        sa.Column("channel", sa.Text(), nullable=True),
        sa.Column("points", sa.Text(), nullable=True),
        sa.Column("performed_at", sa.Text(), nullable=True),
        sa.Column("used_us", sa.BigInteger(), nullable=False),
        sa.Column("used_end_us", sa.BigInteger(), nullable=False),
        sa.Column("factor_applied", sa.Text(), nullable=True),
        sa.Column("named_certificate", sa.Text(), nullable=True),
        sa.Column("named_revision", sa.Integer(), nullable=True),
        sa.Column("source_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column(
            "evidence_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("remarks", sa.Text(), nullable=True),
        sa.Column("override", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_usage_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["evidence_id"], ["certificate.id"], name=op.f("fk_usage_evidence_id")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_usage_item_id")),
        sa.ForeignKeyConstraint(["source_id"], ["certificate.id"], name=op.f("fk_usage_source_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_usage")),
    )
    with op.batch_alter_table("usage", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_usage_certificate_id"), ["certificate_id"], unique=False
        )
        batch_op.create_index(
            "ix_usage_evidence",
            ["evidence_id", "certificate_id"],
            unique=False,
            sqlite_where=sa.text("evidence_id IS NOT NULL"),
            postgresql_where=sa.text("evidence_id IS NOT NULL"),
        )
        batch_op.create_index(
            "ix_usage_item", ["item_id", "used_us", "certificate_id"], unique=False
        )
        batch_op.create_index("ix_usage_source", ["source_id", "certificate_id"], unique=False)

    op.create_table(
        "use_correction",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("after", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_use_correction_certificate_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_use_correction")),
    )
    with op.batch_alter_table("use_correction", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_use_correction_certificate_id"), ["certificate_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("use_correction", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_use_correction_certificate_id"))

    op.drop_table("use_correction")
    with op.batch_alter_table("usage", schema=None) as batch_op:
        batch_op.drop_index("ix_usage_source")
        batch_op.drop_index("ix_usage_item")
        batch_op.drop_index(
            "ix_usage_evidence",
            sqlite_where=sa.text("evidence_id IS NOT NULL"),
            postgresql_where=sa.text("evidence_id IS NOT NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_usage_certificate_id"))

    op.drop_table("usage")
    with op.batch_alter_table("result", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_result_certificate_id"))

    op.drop_table("result")
    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_entry_certificate_id"))

    op.drop_table("recall_entry")
    with op.batch_alter_table("page_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_page_session_expires_us"))
        batch_op.drop_index(batch_op.f("ix_page_session_api_key_id"))

    op.drop_table("page_session")
    with op.batch_alter_table("notice_record", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_notice_record_notice_id"))

    op.drop_table("notice_record")
    op.drop_table("idempotent_answer")
    with op.batch_alter_table("disposition", schema=None) as batch_op:
        batch_op.drop_index("ix_disposition_recall")
        batch_op.drop_index("ix_disposition_certificate")

    op.drop_table("disposition")
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.drop_index(
            "ix_change_customer",
            sqlite_where=sa.text("customer_id IS NOT NULL"),
            postgresql_where=sa.text("customer_id IS NOT NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_change_at_us"))

    op.drop_table("change")
    with op.batch_alter_table("webhook_delivery", schema=None) as batch_op:
        batch_op.drop_index("ix_webhook_delivery_state")

    op.drop_table("webhook_delivery")
    with op.batch_alter_table("setup_comparison_item", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_setup_comparison_item_item_id"))

    op.drop_table("setup_comparison_item")
    with op.batch_alter_table("setup_check_item", schema=None) as batch_op:
        batch_op.drop_index("ix_setup_check_item_item")

    op.drop_table("setup_check_item")
    with op.batch_alter_table("run_evaluation", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_run_evaluation_item_id"))

    op.drop_table("run_evaluation")
    with op.batch_alter_table("requirement", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_requirement_type"))
        batch_op.drop_index(batch_op.f("ix_requirement_item_id"))

    op.drop_table("requirement")
    with op.batch_alter_table("recall_stale", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_stale_recall_id"))

    op.drop_table("recall_stale")
    op.drop_table("recall_case")
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_notice_customer_id"))

    op.drop_table("notice")
    with op.batch_alter_table("load_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_load_event_item_id"))

    op.drop_table("load_event")
    with op.batch_alter_table("intermediate_check", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_intermediate_check_item_id"))

    op.drop_table("intermediate_check")
    op.drop_table("decision")
    with op.batch_alter_table("composition", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_composition_part_id"))
        batch_op.drop_index(batch_op.f("ix_composition_assembly_id"))

    op.drop_table("composition")
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_certificate_issued",
            sqlite_where=sa.text("status = 'issued'"),
            postgresql_where=sa.text("status = 'issued'"),
        )
        batch_op.drop_index("ix_certificate_roles")
        batch_op.drop_index("ix_certificate_number")
        batch_op.drop_index("ix_certificate_method")
        batch_op.drop_index("ix_certificate_in_force")
        batch_op.drop_index(batch_op.f("ix_certificate_customer_id"))

    op.drop_table("certificate")
    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_case_event_recall_id"))

    op.drop_table("case_event")
    op.drop_table("api_key")
    op.drop_table("webhook")
    op.drop_table("uncertainty_budget")
    op.drop_table("specification")
    with op.batch_alter_table("setup_comparison", schema=None) as batch_op:
        batch_op.drop_index("ix_setup_comparison_type")

    op.drop_table("setup_comparison")
    op.drop_table("setup_check")
    op.drop_table("recall")
    op.drop_table("person")
    op.drop_table("laboratory")
    with op.batch_alter_table("journal_line", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_journal_line_operation"))
        batch_op.drop_index(batch_op.f("ix_journal_line_at_us"))

    op.drop_table("journal_line")
    op.drop_table("journal_head")
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_item_kind"))

    op.drop_table("item")
    op.drop_table("import_run")
    op.drop_table("decision_rule")
    op.drop_table("customer")
    op.drop_table("cmc")
    op.drop_table("class_table")
