"""The ledger of all changes; what was there before is put into it when the archive is opened."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.types import TypeEngine

revision = "3"
down_revision = "2"


def _text() -> TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


def _given(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False)


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "ledger",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _given("kind"),
        _given("subject"),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
        _given("hash"),
        _given("signer"),
        sa.Column("signature", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_ledger"),
    )
    op.create_index("ix_ledger_kind_subject", "ledger", ["kind", "subject"])
