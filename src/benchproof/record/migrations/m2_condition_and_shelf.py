"""Condition with photographs, the shelf, and how each proof was opened and closed."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.types import TypeEngine

revision = "2"
down_revision = "1"

_LAWFUL = (
    "(before_state = '' AND state = 'stock' AND place = '' AND proof IS NOT NULL)"
    " OR (before_state = 'stock' AND state = 'reserved' AND place <> '' AND proof IS NULL)"
    " OR (before_state = 'stock' AND state = 'fitted' AND place <> '' AND proof IS NULL)"
    " OR (before_state = 'stock' AND state = 'scrapped' AND place = '' AND proof IS NULL)"
    " OR (before_state = 'reserved' AND state = 'stock' AND place = '' AND proof IS NULL)"
    " OR (before_state = 'reserved' AND state = 'fitted' AND place = before_place"
    " AND proof IS NULL)"
    " OR (before_state = 'reserved' AND state = 'scrapped' AND place = '' AND proof IS NULL)"
    " OR (before_state = 'fitted' AND state = 'returned' AND place = before_place"
    " AND proof IS NULL)"
    " OR (before_state = 'returned' AND state = 'stock' AND place = '' AND proof IS NOT NULL)"
    " OR (before_state = 'returned' AND state = 'scrapped' AND place = '' AND proof IS NULL)"
)
_STEP = (
    "(step = 1 AND before_step IS NULL AND before_state = '' AND before_place = '')"
    " OR (step > 1 AND before_step = step - 1 AND before_state <> '')"
)


def _text() -> TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


def _words(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False, server_default="")


def _given(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=False)


def _maybe(name: str) -> "sa.Column[str]":
    return sa.Column(name, _text(), nullable=True)


def _count(name: str, *, required: bool = True) -> "sa.Column[int]":
    return sa.Column(name, sa.Integer(), nullable=not required, autoincrement=False)


def _key(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=f"pk_{table}")


def _to(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_{table}_{column}")


def _check(table: str, name: str, condition: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(condition, name=op.f(f"ck_{table}_{name}"))


def upgrade() -> None:
    """Create the tables; older proofs have no mode, and are told as still open."""
    with op.batch_alter_table("cores") as cores:
        cores.add_column(_words("missing"))
        cores.add_column(_words("damaged"))
    with op.batch_alter_table("proofs") as proofs:
        proofs.add_column(_words("mode"))
        proofs.add_column(_maybe("closed_as"))
        proofs.create_unique_constraint("uq_proofs_tag_part", ["tag", "part"])
    op.create_index(
        "ix_proofs_closed_as_opened_at_tag", "proofs", ["closed_as", "opened_at", "tag"]
    )
    op.create_table(
        "photographs",
        _given("hash"),
        _words("name"),
        _count("width"),
        _count("height"),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        _given("added"),
        _key("photographs", "hash"),
    )
    op.create_table(
        "conditions",
        _count("number"),
        _maybe("core"),
        _maybe("part"),
        _given("item"),
        _given("grade"),
        _words("remark"),
        _maybe("photograph"),
        _maybe("by"),
        _given("at"),
        _check("conditions", "subject", "(core IS NULL) <> (part IS NULL)"),
        _key("conditions", "number"),
        _to("conditions", "core", "cores.tag"),
        _to("conditions", "part", "parts.tag"),
        _to("conditions", "photograph", "photographs.hash"),
        _to("conditions", "by", "people.initials"),
    )
    op.create_index("ix_conditions_core", "conditions", ["core"])
    op.create_index("ix_conditions_part", "conditions", ["part"])
    op.create_table(
        "shelf_moves",
        _given("part"),
        _count("step"),
        _given("state"),
        _maybe("unit"),
        _given("place"),
        _count("before_step", required=False),
        _given("before_state"),
        _given("before_place"),
        _maybe("proof"),
        _given("at"),
        _maybe("by"),
        _words("note"),
        _check("shelf_moves", "place", "place = coalesce(unit, '')"),
        _check("shelf_moves", "step", _STEP),
        _check("shelf_moves", "lawful", _LAWFUL),
        _key("shelf_moves", "part", "step"),
        sa.UniqueConstraint(
            "part", "step", "state", "place", name="uq_shelf_moves_part_step_state_place"
        ),
        sa.UniqueConstraint("proof", name="uq_shelf_moves_proof"),
        _to("shelf_moves", "part", "parts.tag"),
        _to("shelf_moves", "unit", "units.tag"),
        _to("shelf_moves", "by", "people.initials"),
        sa.ForeignKeyConstraint(
            ["part", "before_step", "before_state", "before_place"],
            ["shelf_moves.part", "shelf_moves.step", "shelf_moves.state", "shelf_moves.place"],
            name="fk_shelf_moves_before",
        ),
        sa.ForeignKeyConstraint(
            ["proof", "part"], ["proofs.tag", "proofs.part"], name="fk_shelf_moves_proof_part"
        ),
    )
    op.create_index("ix_shelf_moves_unit", "shelf_moves", ["unit"])
