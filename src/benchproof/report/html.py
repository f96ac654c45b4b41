"""A certificate as one HTML file that needs nothing else: style, figure and code stand in it."""

from html import escape

from benchproof.family.sentence import one_line
from benchproof.report.certificate import Certificate
from benchproof.report.fullchart import cell_lines, chart_legend
from benchproof.report.paper import Section, paper_of
from benchproof.report.recordcode import code_svg, record_text
from benchproof.report.strip import draw_strip

# No colours: it must print in black and white.
_STYLE = """
body { font: 11pt/1.4 serif; max-width: 52rem; margin: 1.5rem auto; padding: 0 1rem;
  overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.1rem; margin: 1.2rem 0 .3rem; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; margin: 0; }
dt { font-weight: bold; } dd { margin: 0; } p { margin: .3rem 0; } ul { margin: .3rem 0; }
.verdict { border: 3px solid; padding: .6rem; margin: 1rem 0; }
.word { font-size: 1.8rem; font-weight: bold; }
.sign { border: 3px solid; padding: 0 .7rem; margin-right: .8rem; }
.danger { border: 6px solid; padding: .6rem; font-weight: bold; }
.override { border: 6px double; padding: .6rem; font-weight: bold; }
.record { border: 1px solid; padding: .6rem; margin: 1rem 0; overflow: hidden; }
.record svg { float: right; width: 9rem; height: 9rem; }
.hash { font-family: monospace; }
svg { max-width: 100%; height: auto; }
.chart { overflow-x: auto; }
table { border-collapse: collapse; font-size: 10pt; }
th, td { border: 1px solid; padding: .15rem .35rem; text-align: left; vertical-align: top; }
td { white-space: nowrap; } thead { display: table-header-group; } tr { break-inside: avoid; }
"""


def certificate_html(told: Certificate) -> str:
    """Return a certificate as HTML."""
    paper = paper_of(told)
    figure = "" if told.strip is None else f"<figure>{draw_strip(told.strip)}</figure>"
    override = "".join(f"<p>{_text(line)}</p>" for line in paper.override)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en-GB"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_text(paper.title)}</title><style>{_STYLE}</style></head><body><main>",
        *(f'<p class="danger">{_text(line)}</p>' for line in paper.dangers),
        f"<h1>{_text(paper.title)}</h1>",
        _facts(paper.tested),
        '<section class="verdict"><p class="word">'
        f'<span class="sign">{_text(paper.sign)}</span>{_text(paper.word)}</p>',
        *(f"<p>{_text(line)}</p>" for line in paper.verdict),
        "</section>",
        f'<section class="override">{override}</section>' if override else "",
        *map(_section, paper.before),
        figure,
        *map(_section, paper.after),
        '<section class="record">',
        code_svg(record_text(told.proof, told.seq, told.hash)),
        _section(paper.record),
        "</section>",
        _chart(told),
        "</main></body></html>",
    ]
    return "\n".join(part for part in parts if part) + "\n"


def _text(words: str) -> str:
    return escape(one_line(words))


def _section(it: Section) -> str:
    facts = _facts(it) if it.facts else ""
    if it.listed:
        lines = f"<ul>{''.join(f'<li>{_text(line)}</li>' for line in it.lines)}</ul>"
    else:
        lines = "".join(f"<p>{_text(line)}</p>" for line in it.lines)
    return f"<section><h2>{_text(it.heading)}</h2>{facts}{lines}</section>"


def _facts(it: Section) -> str:
    rows = []
    for name, value in it.facts:
        kind = ' class="hash"' if name == "Hash" else ""
        rows.append(f"<dt>{_text(name)}</dt><dd{kind}>{_text(value)}</dd>")
    return f"<dl>{''.join(rows)}</dl>"


def _chart(told: Certificate) -> str:
    chart = told.chart
    head = "".join(f'<th scope="col">{_text(name)}</th>' for name in ("pins", *chart.headings))
    body = []
    for row in chart.rows:
        role = f"<br>{_text(row.role)}" if row.role else ""
        cells = "".join(
            "<td>"
            + "<br>".join(
                f"<b>{_text(line)}</b>" if heavy else _text(line)
                for line, heavy in cell_lines(cell, chart.turned)
            )
            + "</td>"
            for cell in row.cells
        )
        body.append(f'<tr><th scope="row">{_text(row.pair)}{role}</th>{cells}</tr>')
    legend = "".join(f"<p>{_text(line)}</p>" for line in chart_legend(told))
    return (
        f'<section><h2>Full chart</h2>{legend}<div class="chart"><table><thead><tr>{head}</tr>'
        f"</thead><tbody>{''.join(body)}</tbody></table></div></section>"
    )
