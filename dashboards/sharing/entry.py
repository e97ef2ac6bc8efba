"""The two pages that are there without a session: where the code is typed, and the step from it into the pages."""

from __future__ import annotations

from html import escape
from pathlib import Path

HERE = Path(__file__).parent
_FRAME = HERE.parent / "assets" / "frame.css"

_FORM = """<h1>Swardflow</h1>
{said}
<form action="/" method="get">
<label for="code">Code, as the computer at the sprayer shows it</label>
<input id="code" name="code" required maxlength="12" autocomplete="off" autocapitalize="characters" spellcheck="false">
<button type="submit">Open</button>
</form>"""
_STEP = """<h1>Swardflow</h1>
<p>This browser is let in.</p>
<a class="main" href="/">Open the live page</a>"""


def entry_page(sentence: str = "") -> str:
    """The page that asks for the code, with what was wrong about the last one."""
    said = f'<p class="wrong" role="alert">{escape(sentence)}</p>' if sentence else ""
    return _page(_FORM.replace("{said}", said))


def step_page() -> str:
    """The page after the right code; it goes on by itself.

    The step is there because a browser does not send a SameSite=Strict cookie with what a link in another site's page
    leads to, redirects included; with what a page of ours leads to, it does.
    """
    return _page(_STEP, '<meta http-equiv="refresh" content="0; url=/">')


def _page(body: str, refresh: str = "") -> str:
    page = (HERE / "entry.html").read_text(encoding="utf-8")
    for name, text in {"frame": _FRAME.read_text(encoding="utf-8"), "refresh": refresh, "body": body}.items():
        page = page.replace("{{" + name + "}}", text)
    return page
