"""How much memory files take that were made to take much, read at the prompt and by the page.

Every file is invented. Memory is that of the program and all it starts, sampled until it ends.
"""

import io
import re
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from threading import Event, Thread

MOST_MB = 300
_EVERY_S = 0.004
_BOOK = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/'
    'content-types"><Override PartName="/xl/workbook.xml" ContentType="application/vnd.'
    'openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>',
    "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/'
    'relationships"><Relationship Id="r" Type="http://schemas.openxmlformats.org/officeDocument/'
    '2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
    ' xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet '
    'name="a" sheetId="1" r:id="s"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/'
    '2006/relationships"><Relationship Id="s" Type="http://schemas.openxmlformats.org/'
    'officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship '
    'Id="t" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" '
    'Target="styles.xml"/></Relationships>',
}
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def workbook(rows: str = "", *, before: str = "", styles: str = "", how: int = 8) -> bytes:
    """Return a workbook whose sheet has these rows; `how` is how it is packed, deflated."""
    sheet = f'{before}<worksheet xmlns="{_MAIN}"><sheetData>{rows}</sheetData></worksheet>'
    style = f'<styleSheet xmlns="{_MAIN}"><cellXfs>{styles}</cellXfs></styleSheet>'
    parts = _BOOK | {"xl/worksheets/sheet1.xml": sheet, "xl/styles.xml": style}
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", how) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return data.getvalue()


def _text(value: str) -> str:
    return f'<row><c t="inlineStr"><is><t>{value}</t></is></c></row>'


_ENTITY = "x" * 50_000

CHARTS: dict[str, Callable[[], bytes]] = {
    "dotted.toml": lambda: b"a" + b".a" * 40_000 + b" = 1\n",
    "dotted-header.toml": lambda: b"[a" + b".a" * 40_000 + b"]\n",
    "dotted-unfinished.toml": lambda: b"a" + b".a" * 400_000,
    "brackets.toml": lambda: b"a = " + b"[" * 400_000,
    "tables.toml": lambda: b"a = " + b"{a=" * 300_000,
    "keys.toml": lambda: b"".join(b"a%d.b.c.d.e.f.g.h.i=1\n" % n for n in range(38_000)),
    "empty-lists.toml": lambda: b"a = [" + b"[]," * 300_000 + b"]\n",
    "numbers.toml": lambda: b"a = [" + b"1," * 450_000 + b"]\n",
    "as-large-as-may-be.toml": lambda: (
        b"".join(b"a%d.b.c.d.e.f.g.h.i=1\n" % n for n in range(3_300))
        + b"z = ["
        + b"[[1,1],1]," * 36_000
        + b"]\n"
    ),
    "quotes.toml": lambda: b'a = "' + b'\\"""' * 200_000 + b"\n",
    "triple-quotes.toml": lambda: b'a = """' + b"a" * 900_000,
    "large.toml": lambda: b"# " + b"x" * 100_000_000,
    "line.csv": lambda: b"pins,P,R\n" + b"x" * 100_000_000,
    "line-of-4-mb.csv": lambda: b"pins,P,R\n" + b"x" * 4_000_000,
    "columns.csv": lambda: b"pins" + b",P" * 1_000_000,
    "quoted-columns.csv": lambda: b"pins,P\n" + b'"a\n",' * 800_000,
    "empty-cells.csv": lambda: (b"," * 198 + b"x\n") * 25_000,
    "rows.csv": lambda: b"pins,P\n" + b"A-B,c\n" * 800_000,
    "rows.xlsx": lambda: workbook("<row/>" * 1_000_000),
    "cells.xlsx": lambda: workbook("<row>" + "<c/>" * 1_500_000 + "</row>"),
    "far.xlsx": lambda: workbook(
        "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(1, 20_000))
    ),
    "bomb.xlsx": lambda: workbook(_text("x" * 500_000_000)),
    "styles.xlsx": lambda: workbook(_text("a"), styles="<xf/>" * 1_500_000),
    "entities.xlsx": lambda: workbook(
        _text("&e;" * 20_000), before=f'<!DOCTYPE x [<!ENTITY e "{_ENTITY}">]>'
    ),
    "nested.xlsx": lambda: workbook("<a>" * 1_000_000),
    "lzma.xlsx": lambda: workbook(_text("a"), how=zipfile.ZIP_LZMA),
}
"""Charts, by file name; what makes each of them."""


class Peak:
    """The most memory of a process and all that it started, sampled in a thread."""

    def __init__(self, pid: int) -> None:
        self.mb = 0.0
        self._ended = Event()
        self._thread = Thread(target=self._watch, args=[pid], daemon=True)
        self._thread.start()

    def end(self) -> float:
        """Return it, megabytes."""
        self._ended.set()
        self._thread.join()
        return self.mb

    def _watch(self, pid: int) -> None:
        while not self._ended.wait(_EVERY_S):
            self.mb = max(self.mb, sum(map(_resident_mb, _tree(pid))))


def _resident_mb(pid: int) -> float:
    try:
        told = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0.0
    found = re.search(r"VmRSS:\s*(\d+)", told)
    return int(found[1]) / 1000 if found else 0.0


def _tree(pid: int) -> list[int]:
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        children = [int(one) for task in tasks for one in (task / "children").read_text().split()]
    except OSError:
        return [pid]
    return [pid, *(deep for child in children for deep in _tree(child))]


def audited(path: Path) -> tuple[float, str, int]:
    """Return the memory that auditing a chart took, what was said of it, and the exit code."""
    command = [sys.executable, "-c", "from benchproof.cli import main; main()", "audit", str(path)]
    with subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    ) as process:
        peak = Peak(process.pid)
        said = process.communicate()[1]
    return peak.end(), said.strip(), process.returncode


def main() -> None:
    """Print a line a file; fail if any takes more memory than all may."""
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for name, content in CHARTS.items():
            path = Path(folder) / name
            path.write_bytes(content())
            memory, said, code = audited(path)
            worst = max(worst, memory)
            print(f"{memory:6.0f} MB  exit {code}  {said.replace(folder, '')[:120]}")
            path.unlink()
    print(f"The most is {worst:.0f} MB; {MOST_MB} MB are allowed.")
    if worst > MOST_MB:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
