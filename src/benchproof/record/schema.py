"""The tables of the archive, the same on SQLite and PostgreSQL.

Change them only together with a new module in `migrations`; a test holds the two together.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Dialect,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

from benchproof.record.moves import lawful_sql
from benchproof.record.problems import Altered

VERSION_TABLE = "benchproof_version"
LAST_REVISION = "4"
NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


def text() -> TypeEngine[str]:
    """Return the type of every text: ordered by its bytes on both engines."""
    return String().with_variant(String(collation="C"), "postgresql")


class Moment(TypeDecorator[datetime]):
    """A time with its offset, kept as text in UTC: it sorts, and no engine loses the offset."""

    impl = String
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Order it by its bytes too."""
        collation = "C" if dialect.name == "postgresql" else None
        return dialect.type_descriptor(String(collation=collation))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Return what is stored."""
        return None if value is None else self.stored(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """Return the time."""
        if value is None:
            return None
        try:
            return datetime.fromisoformat(value)
        except (TypeError, ValueError):
            raise Altered(f"The archive holds {value!r:.40} for a time") from None

    @staticmethod
    def stored(value: datetime) -> str:
        """Return a time as it is stored.

        Raises
        ------
        ValueError
            If it has no offset.
        """
        if value.tzinfo is None:
            raise ValueError("a time without its offset")
        return value.astimezone(UTC).isoformat(timespec="microseconds")


class Day(TypeDecorator[date]):
    """A date; another program may have written anything for it into SQLite."""

    impl = Date
    cache_ok = True

    def result_processor(
        self, dialect: Dialect, coltype: object
    ) -> Callable[[Any | None], date | None] | None:
        """Return what gives the date."""
        made = super().result_processor(dialect, coltype)

        def read(value: Any | None) -> date | None:  # noqa: ANN401
            try:
                return made(value) if made else value
            except (TypeError, ValueError):
                raise Altered(f"The archive holds {value!r:.40} for a date") from None

        return read


def _key(name: str) -> Column[str]:
    return Column(name, text(), primary_key=True)


def _words(name: str) -> Column[str]:
    return Column(name, text(), nullable=False, server_default="")


def _to(name: str, target: str, *, required: bool = False) -> Column[str]:
    return Column(name, text(), ForeignKey(target), nullable=not required)


def _when(name: str) -> Column[datetime]:
    return Column(name, Moment(), nullable=False)


def _one_of(column: str, *values: str) -> CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({listed})", name=column)


metadata = MetaData(naming_convention=NAMING)

people = Table("people", metadata, _key("initials"), _words("name"))
customers = Table("customers", metadata, _key("tag"), _words("name"), _words("contact"))
files = Table("files", metadata, _key("hash"), Column("content", LargeBinary, nullable=False))
gear = Table(
    "gear",
    metadata,
    _key("tag"),
    Column("kind", text(), nullable=False),
    _to("file", "files.hash"),
    Column("calibrated_on", Day()),
    Column("due_on", Day()),
    _words("note"),
    _one_of("kind", "meter", "selector", "other"),
)
units = Table(
    "units",
    metadata,
    _key("tag"),
    _words("family"),
    _to("customer", "customers.tag"),
    _words("serial"),
    _words("complaint"),
    _words("codes"),
    Column("mileage_km", Integer),
    _when("added"),
    CheckConstraint("mileage_km >= 0", name="mileage_km"),
)
cores = Table(
    "cores",
    metadata,
    _key("tag"),
    _words("family"),
    Column("deposit", text(), nullable=False),
    _words("note"),
    _when("added"),
    _words("missing"),
    _words("damaged"),
    _one_of("deposit", "none", "owed", "paid", "returned"),
)
parts = Table(
    "parts",
    metadata,
    _key("tag"),
    Column("family", text(), nullable=False),
    _to("family_file", "files.hash", required=True),
    Column("maker_class", text(), nullable=False),
    _to("core", "cores.tag"),
    Column("bought", Boolean, nullable=False),
    _words("note"),
    _when("added"),
    _one_of("maker_class", "original", "other", "unknown"),
    CheckConstraint("core IS NULL OR NOT bought", name="source"),
    Index(None, "family"),
    Index(None, "core"),
)
proofs = Table(
    "proofs",
    metadata,
    _key("tag"),
    _to("part", "parts.tag", required=True),
    Column("number", Integer, nullable=False),
    _when("opened_at"),
    Column("last_seq", Integer, nullable=False),
    Column("head", text(), nullable=False),
    _words("mode"),
    Column("closed_as", text()),
    UniqueConstraint("part", "number"),
    UniqueConstraint("tag", "part"),
    Index(None, "opened_at", "tag"),
    Index(None, "closed_as", "opened_at", "tag"),
)
events = Table(
    "events",
    metadata,
    Column("proof", text(), ForeignKey("proofs.tag"), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("payload", LargeBinary, nullable=False),
    Column("hash", text(), nullable=False),
)
photographs = Table(
    "photographs",
    metadata,
    _key("hash"),
    _words("name"),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("content", LargeBinary, nullable=False),
    _when("added"),
)
conditions = Table(
    "conditions",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    _to("core", "cores.tag"),
    _to("part", "parts.tag"),
    Column("item", text(), nullable=False),
    Column("grade", text(), nullable=False),
    _words("remark"),
    _to("photograph", "photographs.hash"),
    _to("by", "people.initials"),
    _when("at"),
    CheckConstraint("(core IS NULL) <> (part IS NULL)", name="subject"),
    Index(None, "core"),
    Index(None, "part"),
)
shelf_moves = Table(
    "shelf_moves",
    metadata,
    Column("part", text(), ForeignKey("parts.tag"), primary_key=True),
    Column("step", Integer, primary_key=True, autoincrement=False),
    Column("state", text(), nullable=False),
    _to("unit", "units.tag"),
    # The unit once more, empty for none: a key with a null in it is not checked.
    Column("place", text(), nullable=False),
    Column("before_step", Integer),
    Column("before_state", text(), nullable=False),
    Column("before_place", text(), nullable=False),
    Column("proof", text()),
    _when("at"),
    _to("by", "people.initials"),
    _words("note"),
    CheckConstraint("place = coalesce(unit, '')", name="place"),
    CheckConstraint(
        "(step = 1 AND before_step IS NULL AND before_state = '' AND before_place = '')"
        " OR (step > 1 AND before_step = step - 1 AND before_state <> '')",
        name="step",
    ),
    CheckConstraint(lawful_sql(), name="lawful"),
    UniqueConstraint("part", "step", "state", "place"),
    UniqueConstraint("proof"),
    ForeignKeyConstraint(
        ["part", "before_step", "before_state", "before_place"],
        ["shelf_moves.part", "shelf_moves.step", "shelf_moves.state", "shelf_moves.place"],
        name="fk_shelf_moves_before",
    ),
    ForeignKeyConstraint(["proof", "part"], ["proofs.tag", "proofs.part"]),
    Index(None, "unit"),
)
# Every change is a row of its own; the last one counts.
shop_settings = Table(
    "shop_settings",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    _words("name"),
    _words("address"),
    _words("signer"),
    _to("logo", "files.hash"),
    Column("paper", text(), nullable=False),
    Column("label", text(), nullable=False),
    Column("distance", text(), nullable=False),
    Column("temperature", text(), nullable=False),
    Column("language", text(), nullable=False),
    _to("by", "people.initials"),
    _when("at"),
)
# No key points from here to there: what was taken away shall leave its entry behind.
ledger = Table(
    "ledger",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", text(), nullable=False),
    Column("subject", text(), nullable=False),
    Column("payload", LargeBinary, nullable=False),
    Column("hash", text(), nullable=False),
    Column("signer", text(), nullable=False),
    Column("signature", LargeBinary, nullable=False),
    Index(None, "kind", "subject"),
)
