"""Everything in the archive as open files, and back without loss.

A folder with one file a table in JSON Lines, CSV and Parquet, `manifest.json` about them, and the
contents of files and photographs as they are, named by their hash. JSON Lines is what is read back.
"""

import base64
import json
import os
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    Boolean,
    Column,
    Connection,
    Integer,
    LargeBinary,
    Table,
    delete,
    insert,
    select,
)

from benchproof.family import limits
from benchproof.family.nesting import nested_deeper
from benchproof.family.safetext import FORMULA, NUMBER
from benchproof.family.sentence import quoted
from benchproof.record import schema
from benchproof.record.ledger import name_of, newest
from benchproof.record.privatefiles import beside, opened
from benchproof.record.problems import Altered, Conflict, RecordProblem, Unusable
from benchproof.record.regularfile import open_regular, read_regular
from benchproof.record.rowjson import TABLES, python_value
from benchproof.record.verifying import verified

if TYPE_CHECKING:
    import polars as pl

    from benchproof.record.database import Database
    from benchproof.record.store import Store
    from benchproof.record.verifying import Agrees

FORMAT = "benchproof archive"
_AT_ONCE = 100
_BYTES_AT_ONCE = 8_000_000
_HASH = re.compile("[0-9a-f]{64}")
_ANOTHER = "Nothing was taken in; take another copy."
_COLUMNS = ("csv", "parquet")
_APART = ("files", "photographs")
"""Tables whose contents stand in files of their own."""


def tables() -> list[Table]:
    """Return the tables, each after those that it points to."""
    return list(schema.metadata.sorted_tables)


def _silent(*_: object) -> None:
    """Tell nobody."""


def export(
    database: "Database",
    folder: Path,
    done: Callable[[str, int], None] = _silent,
    going_on: Callable[[], None] = _silent,
) -> dict[str, int]:
    """Write the archive, as it is at one moment, into a new folder.

    Parameters
    ----------
    folder : Path
        Must not be there; it appears once all of it is on disk.
    done : callable, optional
        Told each table that is written, and how many rows it has.
    going_on : callable, optional
        Called before every few rows; what it raises stops the export.

    Returns
    -------
    dict of str to int
        How many rows each table has.

    Raises
    ------
    RecordProblem
        If the folder is there.
    OSError
        If it cannot be written.
    """
    if folder.exists():
        raise RecordProblem(f"{folder}: is there already; name a new folder.")
    with beside(folder) as place:
        unfinished = place / "export"
        unfinished.mkdir(mode=0o700)
        counts = _write_all(database, unfinished, done, going_on)
        unfinished.rename(folder)
    return counts


def _write_all(
    database: "Database",
    folder: Path,
    done: Callable[[str, int], None],
    going_on: Callable[[], None],
) -> dict[str, int]:
    counts: dict[str, int] = {}
    hashes: dict[str, str] = {}
    with database.reading() as connection:
        for table in tables():
            many, key = _write_lines(connection, table, folder, going_on)
            counts[table.name], hashes[table.name] = many, key
    for table in tables():
        going_on()
        _write_columns(table, folder)
        done(table.name, counts[table.name])
    manifest = {
        "format": FORMAT,
        "revision": schema.LAST_REVISION,
        "rows": counts,
        "sha256": hashes,
    }
    _write(folder / "manifest.json", json.dumps(manifest, indent=2).encode() + b"\n")
    return counts


def take_in(store: "Store", folder: Path, agrees: "Agrees | None" = None) -> dict[str, int]:
    """Read an exported folder into an archive that is empty; all of it, or nothing.

    Parameters
    ----------
    store : Store
    folder : Path
    agrees : callable, optional
        As `verify` takes it.

    Returns
    -------
    dict of str to int
        How many rows each table has.

    Raises
    ------
    RecordProblem
        If the folder is no export, or was altered, or the archive is not empty.
    OSError
        If a file cannot be read.
    """
    manifest = _manifest(folder)
    counts: dict[str, int] = {}
    with emptied(store, str(folder), agrees) as connection:
        for table in tables():
            counts[table.name] = _read_lines(connection, table, folder, manifest)
    return counts


def copy(source: "Database", target: "Store", agrees: "Agrees | None" = None) -> dict[str, int]:
    """Copy one archive into another, empty one; all of it, or nothing.

    Raises
    ------
    Conflict
        If the target is not empty.
    """
    counts = {}
    with source.reading() as read, emptied(target, source.place, agrees) as written:
        for table in tables():
            counts[table.name] = 0
            for rows in _batches(read, table):
                written.execute(insert(table), rows)
                counts[table.name] += len(rows)
    return counts


@contextmanager
def emptied(
    store: "Store",
    source: str,
    agrees: "Agrees | None" = None,
    of: Mapping[str, object] | None = None,
) -> Iterator[Connection]:
    """Give a connection to fill an archive that holds nothing yet; then it goes on as its own.

    It gets a name of its own, so that it is not taken for the one that it was copied from, whose
    end may be further on. What it was filled with is looked at before it is kept.

    Parameters
    ----------
    store : Store
    source : str
        Where it is filled from, for the sentence if that was altered.
    agrees : callable, optional
        As `verify` takes it.
    of : mapping, optional
        What the ledger's first entry tells of the source, if no ledger comes along.

    Raises
    ------
    Conflict
        If it holds something.
    RecordProblem
        If what it was filled with was altered.
    """
    with store.database.writing() as connection:
        _check_empty(connection, store.database.place)
        empty = name_of(connection)
        connection.execute(delete(schema.ledger))
        yield connection
        last = newest(connection)
        if last is not None:
            of = {"copied_from": name_of(connection), "entry": last.number}
        store.ledger.take_over(connection, **(of or {}))
        for first in verified(connection, agrees).found[:1]:
            raise RecordProblem(
                f"{source}: was altered ({first.where}: {first.sentence}) Nothing was taken in; "
                "take another copy."
            )
    store.ledger.remember()
    store.ledger.heads.forget(empty)


def _check_empty(connection: Connection, place: str) -> None:
    for table in TABLES:
        if connection.execute(select(table).limit(1)).first() is not None:
            raise Conflict(
                f"{place}: holds records already; name a new archive with --store, so that nothing "
                "is mixed or lost."
            )


def _batches(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    # A photograph may have megabytes.
    many = 4 if table.name in _APART else _AT_ONCE
    query = select(table).order_by(*table.primary_key)
    result = connection.execute(query, execution_options={"yield_per": many})
    for rows in result.partitions():
        batch = [dict(row._mapping) for row in rows]
        for row in batch:
            _check_types(table, row)
        yield batch


def _check_types(table: Table, row: Mapping[str, Any]) -> None:
    for column in table.columns:
        value = row[column.name]
        if type(value) is not _type(column) and not (value is None and column.nullable):
            key = next(iter(row.values()))
            what = f"{table.name}, {str(key)[:64]}: its {column.name.replace('_', ' ')} was altered"
            raise Altered(what)


def _type(column: "Column[Any]") -> type:
    match column.type:
        case LargeBinary():
            return bytes
        case schema.Moment():
            return datetime
        case schema.Day():
            return date
        case Integer():
            return int
        case Boolean():
            return bool
        case _:
            return str


def _write_lines(
    connection: Connection, table: Table, folder: Path, going_on: Callable[[], None]
) -> tuple[int, str]:
    """Write the rows of a table; return how many, and the hash of the file."""
    count, running = 0, sha256()
    if table.name in _APART:
        (folder / table.name).mkdir(mode=0o700)
    with opened(folder / f"{table.name}.jsonl") as file:
        for rows in _batches(connection, table):
            going_on()
            for row in rows:
                if table.name in _APART:
                    _write(_content(folder, table, row["hash"]), row.pop("content"))
                told = {key: value for name in row for key, value in _told(name, row[name])}
                line = json.dumps(told, ensure_ascii=False).encode() + b"\n"
                running.update(line)
                file.write(line)
                count += 1
        _to_disk(file.fileno(), file)
    return count, running.hexdigest()


def _told(name: str, value: object) -> Iterator[tuple[str, object]]:
    """Give the keys of a value: text, number, true, false or null; bytes as text where they are."""
    match value:
        case bytes():
            try:
                words = value.decode()
            except UnicodeDecodeError:
                words = None
            yield name, words
            yield f"{name}_base64", base64.b64encode(value).decode() if words is None else None
        case datetime():
            yield name, value.isoformat(timespec="microseconds")
        case date():
            yield name, value.isoformat()
        case _:
            yield name, value


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / "manifest.json"
    if not path.exists():
        raise RecordProblem(f"{folder}: is no export of an archive; it has no manifest.json.")
    try:
        manifest = json.loads(_small(path, limits.IMPORT_MANIFEST))
        known = manifest["format"] == FORMAT
        revision = manifest["revision"]
        names = set(manifest["rows"]) == set(manifest["sha256"]) == {t.name for t in tables()}
        if not all(type(many) is int for many in manifest["rows"].values()):
            raise TypeError("rows are counted")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise RecordProblem(f"{path}: is damaged; export anew, or take another copy.") from None
    if known and revision != schema.LAST_REVISION:
        raise Unusable(
            f"{folder}: is an export of revision {quoted(str(revision))}, this program reads "
            f"{schema.LAST_REVISION}: use the benchproof that wrote it."
        )
    if not known or not names:
        raise RecordProblem(f"{folder}: is no export of a benchproof archive.")
    return dict(manifest)


def _read_lines(
    connection: Connection, table: Table, folder: Path, manifest: dict[str, Any]
) -> int:
    path = folder / f"{table.name}.jsonl"
    count, running = 0, sha256()
    rows: list[dict[str, Any]] = []
    size = 0
    with open_regular(path) as file:
        while line := file.readline(limits.IMPORT_LINE.most + 1):
            running.update(line)
            count += 1
            # What is more is not read: the file is refused below.
            if count > manifest["rows"][table.name]:
                break
            row = _row(table, line, f"{path}, line {count}")
            if table.name in _APART:
                row["content"] = _read_content(folder, table, row["hash"])
                size += len(row["content"])
            rows.append(row)
            size += len(line)
            if len(rows) >= _AT_ONCE or size >= _BYTES_AT_ONCE:
                connection.execute(insert(table), rows)
                rows, size = [], 0
    if rows:
        connection.execute(insert(table), rows)
    if (
        count != manifest["rows"][table.name]
        or running.hexdigest() != manifest["sha256"][table.name]
    ):
        raise RecordProblem(
            f"{path}: is not as it was exported (manifest.json tells). Nothing was taken in; take "
            "another copy."
        )
    return count


def _read_content(folder: Path, table: Table, key: str) -> bytes:
    return _small(_content(folder, table, key), limits.IMPORT_FILE)


def _small(path: Path, limit: "limits.Limit") -> bytes:
    """Return a file's content.

    Raises
    ------
    RecordProblem
        If it is larger than any of its kind.
    """
    content = read_regular(path, limit.most + 1)
    if len(content) > limit.most:
        raise RecordProblem(f"{path}: {limit.told()} {_ANOTHER}")
    return content


def _content(folder: Path, table: Table, key: str) -> Path:
    if not _HASH.fullmatch(key):
        # It becomes the name of a file.
        raise Altered(f"{table.name}: {quoted(key)} is no hash")
    return folder / table.name / (f"{key}.jpg" if table.name == "photographs" else key)


def _row(table: Table, line: bytes, where: str) -> dict[str, Any]:
    if len(line) > limits.IMPORT_LINE.most:
        raise RecordProblem(f"{where}: {limits.IMPORT_LINE.told()} {_ANOTHER}")
    try:
        if nested_deeper(line, 1):
            raise ValueError("a row is flat")
        told = json.loads(line)
        row = {
            column.name: _value(column, told)
            for column in table.columns
            if not (table.name in _APART and column.name == "content")
        }
    except (ValueError, KeyError, TypeError):
        raise RecordProblem(f"{where}: is no row of {table.name}. {_ANOTHER}") from None
    return row


def _value(column: "Column[Any]", told: dict[str, Any]) -> object:
    value = told[column.name]
    if isinstance(column.type, LargeBinary):
        if value is None:
            return base64.b64decode(told[f"{column.name}_base64"], validate=True)
        return str(value).encode()
    made = python_value(column, value)
    if made is not None and type(made) is not _type(column):
        raise TypeError(column.name)
    return made


def _write_columns(table: Table, folder: Path) -> None:
    """Write CSV and Parquet from the lines."""
    import polars as pl

    wide: dict[str, pl.DataType] = {}
    later: list[pl.Expr] = []
    for column in table.columns:
        name = column.name
        match column.type:
            case LargeBinary() if table.name in _APART:
                continue
            case LargeBinary():
                wide |= {name: pl.String(), f"{name}_base64": pl.String()}
            case schema.Moment():
                wide[name] = pl.String()
                later.append(pl.col(name).str.to_datetime("%+", time_unit="us", time_zone="UTC"))
            case schema.Day():
                wide[name] = pl.String()
                later.append(pl.col(name).str.to_date("%Y-%m-%d"))
            case Integer():
                wide[name] = pl.Int64()
            case Boolean():
                wide[name] = pl.Boolean()
            case _:
                wide[name] = pl.String()
    lines = folder / f"{table.name}.jsonl"
    written = lines.stat().st_size
    rows = pl.scan_ndjson(lines, schema=wide) if written else pl.LazyFrame(schema=wide)
    # Quoted texts tell an empty text from none.
    texts = [_for_cell(name) for name, kind in wide.items() if kind == pl.String()]
    for ending in _COLUMNS:
        opened(folder / f"{table.name}.{ending}").close()
    rows.with_columns(texts).sink_csv(folder / f"{table.name}.csv", quote_style="non_numeric")
    rows.with_columns(later).sink_parquet(folder / f"{table.name}.parquet")
    for ending in _COLUMNS:
        with (folder / f"{table.name}.{ending}").open("rb") as file:
            os.fsync(file.fileno())


def _for_cell(name: str) -> "pl.Expr":
    """Return a column of texts as `safetext.for_cell` would have them, all at once."""
    import polars as pl

    text = pl.col(name)
    formula = text.str.contains(f"^(?:{FORMULA})") & ~text.str.contains(f"^(?:{NUMBER})$")
    return pl.when(formula).then(pl.lit("'") + text).otherwise(text).alias(name)


def _write(path: Path, content: bytes) -> None:
    with opened(path) as file:
        file.write(content)
        _to_disk(file.fileno(), file)


def _to_disk(number: int, file: Any) -> None:  # noqa: ANN401  (any open file)
    file.flush()
    os.fsync(number)
