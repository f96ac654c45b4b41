"""A certificate as plain text, no wider than a terminal of 80 columns where its words allow it."""

from textwrap import wrap

from benchproof.family.sentence import one_line
from benchproof.report.certificate import Certificate
from benchproof.report.fullchart import cell_lines, chart_legend
from benchproof.report.paper import Section, paper_of
from benchproof.report.recordcode import record_text

WIDTH = 78


def certificate_text(told: Certificate) -> str:
    """Return a certificate as plain text, with everything that the PDF says in words."""
    paper = paper_of(told)
    rule = "=" * WIDTH
    lines = [
        *(line for said in paper.dangers for line in _wrapped(said, "!! ")),
        *([""] if paper.dangers else []),
        *_wrapped(paper.title),
        "",
        *_facts(paper.tested),
        "",
        rule,
        *_wrapped(f"[{paper.sign}] {paper.word}"),
        rule,
        *(line for said in paper.verdict for line in _wrapped(said)),
    ]
    if paper.override:
        marked = [line for said in paper.override for line in _wrapped(said, "** ")]
        lines += ["", "*" * WIDTH, *marked, "*" * WIDTH]
    for it in (*paper.before, *paper.after, paper.record):
        lines += ["", *_section(it)]
    lines += ["Code     " + record_text(told.proof, told.seq, told.hash), "", *_chart(told)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _wrapped(words: str, lead: str = "", more: str | None = None) -> list[str]:
    further = lead if more is None else more
    return wrap(
        one_line(words),
        WIDTH,
        initial_indent=lead,
        subsequent_indent=further,
        break_on_hyphens=False,
        break_long_words=False,
    )


def _section(it: Section) -> list[str]:
    lead, more = ("- ", "  ") if it.listed else ("", "")
    return [
        it.heading.upper(),
        *_facts(it),
        *(line for said in it.lines for line in _wrapped(said, lead, more)),
    ]


def _facts(it: Section) -> list[str]:
    wide = max((len(name) for name, _ in it.facts), default=0)
    return [
        line
        for name, value in it.facts
        for line in _wrapped(value, f"{one_line(name).ljust(wide)}  ", " " * (wide + 2))
    ]


def _chart(told: Certificate) -> list[str]:
    chart = told.chart
    lines = ["FULL CHART", *(line for said in chart_legend(told) for line in _wrapped(said))]
    for row in chart.rows:
        role = f" ({row.role})" if row.role else ""
        lines += ["", one_line(f"{row.pair}{role}")]
        names = [one_line(name) for name in chart.headings]
        wide = max(len(name) for name in names)
        for name, cell in zip(names, row.cells, strict=True):
            said = "   ".join(one_line(line) for line, _ in cell_lines(cell, chart.turned))
            lines.append(f"  {name.ljust(wide)}  {said}")
    return lines
