"""How long a certificate takes: PDF, HTML and text, one and a thousand.

`make bench-certificate` runs it and writes into docs/performance.md. Everything is told as a ratio
to the typesetter's time for an empty page, in the same run.
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import typst

from benchproof.report.certificate import Certificate
from benchproof.report.html import certificate_html
from benchproof.report.pdf import certificate_pdf
from benchproof.report.tag import LastProof, Tag, tag_pdf
from benchproof.report.text import certificate_text
from example_certificate import FAMILY, HASH, example_certificate, shipped_state
from figures import write_between

DOC = Path(__file__).parents[1] / "docs" / "performance.md"
EMPTY = b'#set document(title: "empty")\n#set page(paper: "a4")\n'


def empty_page(number: int) -> bytes:
    """Return a PDF of one empty page, no two of them alike, so that none is remembered."""
    return typst.compile(
        EMPTY + f"// {number}".encode(),
        format="pdf",
        ignore_system_fonts=True,
        pdf_standards=["a-2a", "ua-1"],
        timestamp=0,
    )


def numbered(told: Certificate, number: int) -> Certificate:
    """Return a certificate of another part."""
    tag = f"S-{number}"
    return replace(told, part=tag, proof=f"{tag}.1", hash=f"{number:064x}")


def seconds_each(make: Callable[[int], object], count: int) -> list[float]:
    """Return how long each of many takes, seconds."""
    found = []
    for number in range(count):
        began = time.perf_counter()
        make(number)
        found.append(time.perf_counter() - began)
    return found


def rows(count: int) -> list[str]:
    """Return the table's rows; `count` certificates are drawn one after another."""
    told = example_certificate(shipped_state(found={("G-H", "N"), ("J-K", "R")}))
    last = LastProof("S-104.1", told.seq, HASH, "accepted", override_by="", on=told.closed_on)
    # The first of each asks what the fonts can show, which is remembered.
    pdf, tag = certificate_pdf(told), tag_pdf(Tag("S-104", "part", FAMILY, (), last))
    makers: list[tuple[str, Callable[[int], object], int]] = [
        (
            f"certificate, PDF of 3 pages, {len(pdf) / 1e3:.0f} kB",
            lambda n: certificate_pdf(numbered(told, n)),
            count,
        ),
        ("certificate, HTML", lambda n: certificate_html(numbered(told, n)), count // 5),
        ("certificate, text", lambda n: certificate_text(numbered(told, n)), count // 5),
        (
            f"tag, PDF, {len(tag) / 1e3:.0f} kB",
            lambda n: tag_pdf(Tag(f"S-{n}", "part", FAMILY, (), last)),
            count // 5,
        ),
    ]
    empty = seconds_each(empty_page, count // 5)
    timed = [(name, seconds_each(make, many)) for name, make, many in makers]
    empty += seconds_each(lambda n: empty_page(count + n), count // 5)
    yardstick = float(np.median(empty))
    table = [
        "| what | median | 99 of 100 within | a thousand take | ratio to an empty page |",
        "| --- | --- | --- | --- | --- |",
        f"| an empty page, bare typesetter | {yardstick * 1e3:.1f} ms | "
        f"{np.quantile(empty, 0.99) * 1e3:.1f} ms | {1e3 * np.mean(empty):.1f} s | 1 |",
    ]
    for name, times in timed:
        table.append(
            f"| {name} | {np.median(times) * 1e3:.1f} ms | {np.quantile(times, 0.99) * 1e3:.1f} ms "
            f"| {1e3 * np.mean(times):.1f} s | {np.median(times) / yardstick:.1f} |"
        )
    return table


def main() -> None:
    """Run it and write the document's figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--count", type=int, default=1000, help="certificates")
    table = rows(options.parse_args().count)
    write_between(DOC, "certificate", "\n".join(table))
    print("\n".join(table))


if __name__ == "__main__":
    main()
