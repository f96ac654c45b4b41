"""What is taken in and proven: people, customers, gear, units, cores, parts, proofs."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.types import TypeEngine

revision = "1"
down_revision = None


def _text() -> TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


def _words(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False, server_default="")


def _given(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False)


def _maybe(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=True)


def _key(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=f"pk_{table}")


def _to(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_{table}_{column}")


def _check(table: str, name: str, condition: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(condition, name=op.f(f"ck_{table}_{name}"))


def upgrade() -> None:
    """Create the tables."""
    op.create_table("people", _given("initials"), _words("name"), _key("people", "initials"))
    op.create_table(
        "customers", _given("tag"), _words("name"), _words("contact"), _key("customers", "tag")
    )
    op.create_table(
        "files",
        _given("hash"),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        _key("files", "hash"),
    )
    op.create_table(
        "gear",
        _given("tag"),
        _given("kind"),
        _maybe("file"),
        sa.Column("calibrated_on", sa.Date()),
        sa.Column("due_on", sa.Date()),
        _words("note"),
        _check("gear", "kind", "kind IN ('meter', 'selector', 'other')"),
        _key("gear", "tag"),
        _to("gear", "file", "files.hash"),
    )
    op.create_table(
        "units",
        _given("tag"),
        _words("family"),
        _maybe("customer"),
        _words("serial"),
        _words("complaint"),
        _words("codes"),
        sa.Column("mileage_km", sa.Integer()),
        _given("added"),
        _check("units", "mileage_km", "mileage_km >= 0"),
        _key("units", "tag"),
        _to("units", "customer", "customers.tag"),
    )
    op.create_table(
        "cores",
        _given("tag"),
        _words("family"),
        _given("deposit"),
        _words("note"),
        _given("added"),
        _check("cores", "deposit", "deposit IN ('none', 'owed', 'paid', 'returned')"),
        _key("cores", "tag"),
    )
    op.create_table(
        "parts",
        _given("tag"),
        _given("family"),
        _given("family_file"),
        _given("maker_class"),
        _maybe("core"),
        sa.Column("bought", sa.Boolean(), nullable=False),
        _words("note"),
        _given("added"),
        _check("parts", "maker_class", "maker_class IN ('original', 'other', 'unknown')"),
        _check("parts", "source", "core IS NULL OR NOT bought"),
        _key("parts", "tag"),
        _to("parts", "family_file", "files.hash"),
        _to("parts", "core", "cores.tag"),
    )
    op.create_index("ix_parts_family", "parts", ["family"])
    op.create_index("ix_parts_core", "parts", ["core"])
    op.create_table(
        "proofs",
        _given("tag"),
        _given("part"),
        sa.Column("number", sa.Integer(), nullable=False),
        _given("opened_at"),
        sa.Column("last_seq", sa.Integer(), nullable=False),
        _given("head"),
        _key("proofs", "tag"),
        _to("proofs", "part", "parts.tag"),
        sa.UniqueConstraint("part", "number", name="uq_proofs_part_number"),
    )
    op.create_index("ix_proofs_opened_at_tag", "proofs", ["opened_at", "tag"])
    op.create_table(
        "events",
        _given("proof"),
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        _given("hash"),
        _key("events", "proof", "seq"),
        _to("events", "proof", "proofs.tag"),
    )
