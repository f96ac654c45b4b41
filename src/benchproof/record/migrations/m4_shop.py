"""What the shop puts on its papers."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.types import TypeEngine

revision = "4"
down_revision = "3"


def _text() -> TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


def _words(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False, server_default="")


def _given(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False)


def _to(column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_shop_settings_{column}")


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "shop_settings",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        _words("name"),
        _words("address"),
        _words("signer"),
        sa.Column("logo", _text(), nullable=True),
        _given("paper"),
        _given("label"),
        _given("distance"),
        _given("temperature"),
        _given("language"),
        sa.Column("by", _text(), nullable=True),
        _given("at"),
        sa.PrimaryKeyConstraint("number", name="pk_shop_settings"),
        _to("logo", "files.hash"),
        _to("by", "people.initials"),
    )
