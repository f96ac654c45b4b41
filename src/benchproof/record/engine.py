"""Whether the database itself is whole: pages, keys, and the tables as this program makes them."""

import re
from collections.abc import Iterator
from typing import Any

from sqlalchemy import CheckConstraint, Connection, ForeignKeyConstraint, Inspector, Table, inspect
from sqlalchemy import UniqueConstraint as Unique

from benchproof.record import schema
from benchproof.record.findings import Alteration

MOST = 20
"""Findings of the engine itself."""


def look_at_engine(connection: Connection) -> Iterator[Alteration]:
    """Tell what the engine finds wrong with itself."""
    if connection.dialect.name == "sqlite":
        yield from _pages(connection)
        yield from _foreign_keys(connection)
    yield from _tables(connection)
    yield from _foreign_things(connection)


def _pages(connection: Connection) -> Iterator[Alteration]:
    for (line,) in connection.exec_driver_sql(f"PRAGMA integrity_check({MOST})"):
        if line != "ok":
            told = re.sub(r"\s+", " ", str(line)).rstrip(".")
            yield Alteration("the file", f"SQLite finds it damaged: {told}.")


def _foreign_keys(connection: Connection) -> Iterator[Alteration]:
    found = connection.exec_driver_sql("PRAGMA foreign_key_check")
    for table, row, target, _ in found.fetchmany(MOST):
        yield Alteration(f"{table}, row {row}", f"It names what is not in {target}.")


def _tables(connection: Connection) -> Iterator[Alteration]:
    """Hold every table's shape against the one that this program makes."""
    found = inspect(connection)
    there = set(found.get_table_names())
    for table in schema.metadata.sorted_tables:
        if table.name not in there:
            yield Alteration(f"table {table.name}", "It is gone.")
            continue
        made, wanted = _shape(found, table), _wanted(table, connection)
        for what in sorted(wanted - made):
            yield Alteration(f"table {table.name}", f"It has no {what} any more.")
        for what in sorted(made - wanted):
            yield Alteration(f"table {table.name}", f"Another hand gave it: {what}.")
    for name in sorted(there - {*schema.metadata.tables, schema.VERSION_TABLE}):
        yield Alteration(f"table {name}", "It is none of this program's.")


def _wanted(table: Table, connection: Connection) -> set[str]:
    sqlite = connection.dialect.name == "sqlite"
    words = {_column(c.name, not c.nullable) for c in table.columns}
    words.add(_listed("key", "", (c.name for c in table.primary_key)))
    for index in table.indexes:
        words.add(_listed("index", index.name, (c.name for c in index.columns)))
    for one in table.constraints:
        match one:
            case ForeignKeyConstraint():
                words.add(_listed("foreign key", "", (c.name for c in one.columns)))
            case Unique():
                words.add(_listed("rule of one only", "", (c.name for c in one.columns)))
            case CheckConstraint():
                rule = _bare(str(one.sqltext)) if sqlite else ""
                words.add(f"check {one.name} {rule}".rstrip())
    return words


def _shape(found: Inspector, table: Table) -> set[str]:
    name, sqlite = table.name, found.dialect.name == "sqlite"
    words = {_column(c["name"], not c["nullable"]) for c in found.get_columns(name)}
    words.add(_listed("key", "", found.get_pk_constraint(name)["constrained_columns"]))
    for index in found.get_indexes(name):
        # PostgreSQL keeps a rule of one only as an index too.
        if not index.get("duplicates_constraint"):
            words.add(_listed("index", index["name"], index["column_names"]))
    for key in found.get_foreign_keys(name):
        words.add(_listed("foreign key", "", key["constrained_columns"]))
    for unique in found.get_unique_constraints(name):
        words.add(_listed("rule of one only", "", unique["column_names"]))
    for check in found.get_check_constraints(name):
        rule = _bare(check["sqltext"]) if sqlite else ""
        words.add(f"check {check['name']} {rule}".rstrip())
    return words


def _column(name: str, required: bool) -> str:
    return f"column {name}, {'always filled' if required else 'may be empty'}"


def _listed(what: str, name: object, columns: Any) -> str:  # noqa: ANN401  (names)
    told = f"{what} {name or ''}".rstrip()
    return f"{told} ({', '.join(str(column) for column in columns)})"


def _bare(rule: str) -> str:
    return re.sub(r"[\s()\"]+", "", rule)


def _foreign_things(connection: Connection) -> Iterator[Alteration]:
    """Tell of triggers and views: this program makes none; they could change what is recorded."""
    if connection.dialect.name == "sqlite":
        query = "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view')"
    else:
        query = (
            "SELECT 'trigger', t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
            " WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
            " UNION ALL SELECT 'rule', rulename FROM pg_rules WHERE schemaname = current_schema()"
            " UNION ALL SELECT 'view', viewname FROM pg_views WHERE schemaname = current_schema()"
        )
    for kind, name in connection.exec_driver_sql(query):
        yield Alteration(f"{kind} {name}", "It is none of this program's.")
