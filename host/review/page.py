"""A printable page that loads nothing: no script, no outside file; every text from outside is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

# A page opened from a file or sent by mail must run nothing, whatever stands in a note.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'"

_STYLE = """
:root{color-scheme:light}
body{font:16px/1.45 system-ui,sans-serif;color:#1b2420;background:#fff;max-width:52rem;margin:0 auto;padding:1rem}
h1{font-size:1.5rem;margin:.2rem 0}h3{font-size:1rem;margin:.8rem 0 .2rem}
h2{font-size:1.1rem;margin:1.4rem 0 .4rem;border-bottom:1px solid #9aa8a0}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:.5rem 0}dt{color:#4b5a52}dd{margin:0}
.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.9rem;font-variant-numeric:tabular-nums}
th,td{padding:.15rem .5rem;text-align:right;border-bottom:1px solid #d5ddd8}th{text-align:right;vertical-align:bottom}
td:first-child,th:first-child{text-align:left}
.caution{border:2px solid #8a4b00;padding:.4rem .8rem;margin:.8rem 0}.caution li{margin:.2rem 0}
figure{margin:.6rem 0}svg{width:100%;height:auto;display:block}svg text{font-size:12px;fill:#33413a}
svg .axis{stroke:#33413a;fill:none}svg .grid{stroke:#e1e7e3;fill:none}svg .band{fill:#dcebd9}
svg .line{stroke:#14532d;stroke-width:2;fill:none}svg circle{fill:#14532d}
figcaption{font-weight:600}
@media screen and (max-width:40rem){svg text{font-size:20px}}
@media print{body{max-width:none;padding:0;font-size:10.5pt}
h2,figure,dl,.caution{break-inside:avoid}h2,h3{break-after:avoid}
.wide{overflow:visible}thead{display:table-header-group}tr{break-inside:avoid}svg .band{print-color-adjust:exact}}
@page{margin:15mm}
"""


def page(title: str, sections: Sequence[str]) -> str:
    """A whole HTML document from sections that are HTML already."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body><h1>{escape(title)}</h1>"
        + "\n".join(sections)
        + "</body></html>\n"
    )


def section(heading: str, *content: str) -> str:
    """A heading and what follows it."""
    return f"<section><h2>{escape(heading)}</h2>{''.join(content)}</section>"


def subheading(text: str) -> str:
    """A heading within a section."""
    return f"<h3>{escape(text)}</h3>"


def facts(rows: Sequence[tuple[str, str]]) -> str:
    """Names and what they are."""
    return "<dl>" + "".join(f"<dt>{escape(a)}</dt><dd>{escape(b)}</dd>" for a, b in rows) + "</dl>"


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table; its heading is repeated on each printed page."""
    head = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in header)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'


def folded(summary: str, content: str) -> str:
    """Content that opens on a click; it needs no script, and stays folded in print."""
    return f"<details><summary>{escape(summary)}</summary>{content}</details>"


def bullets(sentences: Sequence[str], *, css: str = "") -> str:
    """A list of sentences."""
    kind = f' class="{css}"' if css else ""
    return f"<div{kind}><ul>" + "".join(f"<li>{escape(one)}</li>" for one in sentences) + "</ul></div>"


def figure(title: str, svg: str) -> str:
    """A plot as `svg_plot` made it, with its title above."""
    return f"<figure><figcaption>{escape(title)}</figcaption>{svg}</figure>"
