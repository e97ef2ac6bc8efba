"""The two pages that need no session: where the code is typed, and the step from it into the pages."""

from __future__ import annotations

from dashboards.web.templates import render


def entry_page(message: str = "", *, shared: bool = True) -> str:
    """The page that asks for the code, with what was wrong; a page that is not shared has a link and no code."""
    return render("sharing/entry.html", message=message, opened=False, shared=shared)


def step_page() -> str:
    """The page after the right link or code; it leads on without a tap.

    The step is there because a browser does not send a SameSite=Strict cookie with what a link in another site's page
    leads to, redirects included; with what a page of ours leads to, it does.
    """
    return render("sharing/entry.html", message="", opened=True, shared=True)
