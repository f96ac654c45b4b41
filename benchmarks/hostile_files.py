"""How much memory files take that were made to take much, read at the prompt and by the page.

Every file is invented. Memory is that of the program and all it starts, sampled until it ends. One
page takes everything, one file after the other and the pictures once more at the end, so that what
it keeps of one counts with the next.
"""

import argparse
import base64
import io
import json
import random
import re
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from hashlib import sha256
from pathlib import Path
from threading import Event, Thread

import httpx2
from PIL import Image

from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "limits.md"
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
    # What is not yet another program still shares the memory of the one that starts it.
    others = [child for child in children if _command(child) != _command(pid)]
    return [pid, *(deep for child in others for deep in _tree(child))]


def _command(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


def picture_file(
    width: int, height: int, form: str, mode: str = "RGB", *, slow: bool = False
) -> bytes:
    """Return a plain picture; `slow` is a progressive JPEG."""
    drawn, file = Image.new(mode, (width, height)), io.BytesIO()
    match form:
        case "JPEG":
            drawn.save(file, form, progressive=slow)
        case "TIFF":
            drawn.save(file, form, compression="tiff_lzw")
        case _:
            drawn.save(file, form)
    return file.getvalue()


def _noisy(width: int, height: int, size: int) -> bytes:
    """Return a PNG of about so many bytes: noise, which cannot be packed, and black below it."""
    content = random.Random(1).randbytes(size)
    drawn = Image.frombytes("RGBA", (width, height), content.ljust(4 * width * height, b"\0"))
    file = io.BytesIO()
    drawn.save(file, "PNG", compress_level=1)
    return file.getvalue()


PICTURES: dict[str, Callable[[], bytes]] = {
    "many-pixels.png": lambda: picture_file(10_900, 10_900, "PNG"),
    "as-large-as-may-be.png": lambda: picture_file(4_900, 4_900, "PNG", "RGBA"),
    "large.jpg": lambda: picture_file(10_900, 10_900, "JPEG"),
    "progressive.jpg": lambda: picture_file(3_500, 3_500, "JPEG", slow=True),
    "large.webp": lambda: picture_file(3_200, 2_400, "WEBP"),
    "cmyk.tif": lambda: picture_file(4_900, 4_900, "TIFF", "CMYK"),
    "no-picture-of-20-mb.jpg": lambda: b"\xff\xd8\xff\xe0" + b"x" * 19_900_000,
    "many-bytes.png": lambda: _noisy(4_900, 4_900, 19_500_000),
    "as-many-bytes-as-may-be.png": lambda: _noisy(4_900, 4_900, 29_500_000),
}
"""Photographs, by file name."""
MOST_IN_JSON = 20_000_000
"""Bytes of a photograph."""
BODIES: dict[str, Callable[[], bytes]] = {
    "nested.json": lambda: b'{"chart": ' + b"[" * 3_000_000,
    "objects.json": lambda: b'{"chart": "a", "x": [' + b"{}," * 1_300_000 + b"1]}",
    "of-30-mb.json": lambda: b'{"chart": "' + b"x" * 30_000_000 + b'"}',
}
"""JSON sent to the API as a chart."""


def _spoil_row(folder: Path) -> None:
    (folder / "people.jsonl").write_bytes(b'{"tag": "' + b"x" * 200_000_000)


def _spoil_nested(folder: Path) -> None:
    (folder / "people.jsonl").write_bytes(b'{"tag": ' + b"[" * 3_900_000)


def _spoil_objects(folder: Path) -> None:
    (folder / "people.jsonl").write_bytes(b'{"tag": [' + b"{}," * 1_300_000 + b"1]}")


def _spoil_contents(folder: Path) -> None:
    (row,) = (folder / "files.jsonl").read_bytes().splitlines()[:1]
    key = json.loads(row)["hash"]
    rows = []
    for number in range(40):
        content = b"%d" % number + bytes(11_000_000)
        name = sha256(content).hexdigest()
        (folder / "files" / name).write_bytes(content)
        rows.append(row.replace(key.encode(), name.encode()))
    (folder / "files.jsonl").write_bytes(b"\n".join(rows))
    manifest = json.loads((folder / "manifest.json").read_bytes())
    manifest["rows"]["files"] = len(rows)
    (folder / "manifest.json").write_text(json.dumps(manifest))


IMPORTS: dict[str, Callable[[Path], None]] = {
    "a row of 200 MB": _spoil_row,
    "a nested row": _spoil_nested,
    "a row of objects": _spoil_objects,
    "files of 440 MB": _spoil_contents,
}
"""Exports, by what was done to them."""


def told(*arguments: str | Path) -> tuple[float, str, int]:
    """Return the memory that a command took, what it said of a mistake, and its exit code."""
    code = "from benchproof.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        peak = Peak(process.pid)
        said = process.communicate()[1]
    return peak.end(), said.strip(), process.returncode


def audited(path: Path) -> tuple[float, str, int]:
    """Return what auditing a chart took, as `told` does."""
    return told("audit", path)


class Served:
    """A bench page of its own, with a part and a proof.

    Parameters
    ----------
    folder : Path
        Where its archive is made.
    """

    def __init__(self, folder: Path) -> None:
        code = "from benchproof.cli import main; main()"
        store = folder / "served.sqlite"
        command = [sys.executable, "-u", "-c", code, "bench", "--no-open", "--port", "0"]
        self._process = subprocess.Popen(
            [*command, "--store", store], stdout=subprocess.PIPE, text=True
        )
        assert self._process.stdout is not None
        address = re.search(r"http://\S+/", self._process.stdout.readline())
        assert address is not None, "the page did not come up"
        self._client = httpx2.Client(base_url=address[0], timeout=300.0, follow_redirects=True)
        part = {"tag": "S-1", "family": "valley-coded-7", "bought": True}
        self._client.post("/api/parts", json=part).raise_for_status()
        opening = {"part": "S-1", "meter": "ordinary-handheld"}
        self._client.post("/api/proofs", json=opening).raise_for_status()
        page = self._client.get("/chart").text
        found = re.search(r'name="token" value="([^"]+)"', page)
        assert found is not None, "the form has no token"
        self._token = found[1]

    def close(self) -> None:
        """End it."""
        self._client.close()
        self._process.terminate()
        self._process.communicate()

    def thrice(self, send: Callable[[], httpx2.Response]) -> tuple[float, str, int]:
        """Return the memory of the server and all it starts while three are sent at once."""
        peak = Peak(self._process.pid)
        with ThreadPoolExecutor(3) as threads:
            answers = [one.result() for one in [threads.submit(send) for _ in range(3)]]
        memory = peak.end()
        assert len({answer.status_code for answer in answers}) == 1
        assert self._client.get("/").status_code == 200
        said = re.sub(r"<[^>]*>|\s+", " ", answers[0].text) if answers[0].is_error else "taken"
        return memory, said[-160:], answers[0].status_code

    def photograph(self, content: bytes) -> httpx2.Response:
        """Send a photograph of a proof to the API; to the page, if it is too large for JSON."""
        if len(content) > MOST_IN_JSON:
            files = {"photograph": ("large.png", content)}
            typed = {"token": self._token, "what": "large"}
            return self._client.post("/proof/S-1.1/photograph", data=typed, files=files)
        told = {"content": base64.b64encode(content).decode(), "by": ""}
        return self._client.post("/api/proofs/S-1.1/photographs", json=told)

    def body(self, content: bytes) -> httpx2.Response:
        """Send JSON to the API."""
        headers = {"content-type": "application/json"}
        return self._client.post("/api/chart", content=content, headers=headers)

    def chart(self, name: str, content: bytes) -> httpx2.Response:
        """Bring a chart to the page, which then shows it with what is to be said of it."""
        typed = {"do": "file", "token": self._token, "name": "", "chart": ""}
        return self._client.post("/chart", data=typed, files={"file": (name, content)})


@contextmanager
def _exported(folder: Path) -> Iterator[Path]:
    store = folder / "exported.sqlite"
    assert told("part", "add", "S-1", "valley-coded-7", "--store", store)[2] == 0
    assert told("person", "add", "AB", "--store", store)[2] == 0
    assert told("export", folder / "export", "--store", store)[2] == 0
    yield folder / "export"


def _measured(folder: Path) -> Iterator[tuple[str, str, tuple[float, str, int]]]:
    """Give where a file was read, its name, and what it took."""
    for name, make in CHARTS.items():
        path = folder / name
        path.write_bytes(make())
        yield "audit", name, audited(path)
        path.unlink()
    for number, (name, spoil) in enumerate(IMPORTS.items()):
        place = folder / f"{number}"
        place.mkdir()
        with _exported(place) as export:
            spoil(export)
            yield "import", name, told("import", export, "--store", place / "new.sqlite")
    served = Served(folder)
    try:
        for name, make in PICTURES.items():
            yield "page", name, served.thrice(partial(served.photograph, make()))
        for name, make in BODIES.items():
            yield "page", name, served.thrice(partial(served.body, make()))
        for name, make in CHARTS.items():
            yield "page", name, served.thrice(partial(served.chart, name, make()[:31_000_000]))
        for name, make in PICTURES.items():
            yield "page after all", name, served.thrice(partial(served.photograph, make()))
    finally:
        served.close()


_WHERE = {
    "audit": "a chart read at the prompt",
    "import": "an export taken in",
    "page": "one page, three of each file at once",
    "page after all": "the same page, the pictures once more after all the others",
}


def main() -> None:
    """Print a line a file; fail if any takes more memory than all may."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true", help="into docs/limits.md")
    asked = parser.parse_args()
    worst: dict[str, tuple[float, str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for where, name, (memory, said, code) in _measured(Path(folder)):
            worst[where] = max(worst.get(where, (0.0, "")), (memory, name))
            line = " ".join(said.replace(folder, "").split())[:100]
            print(f"{memory:5.0f} MB  {where} {name}: {code} {line}", flush=True)
    most = max(worst.values())[0]
    print(f"The most is {most:.0f} MB; {MOST_MB} MB are allowed.")
    if most > MOST_MB:
        raise SystemExit(1)
    if asked.write:
        lines = [
            f"- {_WHERE[where]}: {memory:.0f} MB ({name})"
            for where, (memory, name) in worst.items()
        ]
        write_between(DOC, "hostile", "\n".join(lines))


if __name__ == "__main__":
    main()
