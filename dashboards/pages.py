"""The pages there are, in the order of the menu. To add a page: write its layout, add one line here.

"/" is none of them: it leads to Live or Home (see web/first_page.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dashboards.backup import page as backup_page
from dashboards.calibrate import page as calibrate_page
from dashboards.compare import page as compare_page
from dashboards.guests import page as guests_page
from dashboards.home import page as home_page
from dashboards.plan import mix_page, plan_page
from dashboards.rig import page as rig_page
from dashboards.runs import list_page, run_page
from dashboards.setup import bringup_page
from dashboards.setup import page as setup_page
from dashboards.start import page as start_page
from dashboards.ui.polling import SCRIPT as POLLING

# What pages with forms and documents load (dashboards.ui.document_view).
STYLES, SCRIPTS = ("forms.css", "document.css"), ("tables.js", "work.js", "wrong.js")


@dataclass(frozen=True)
class Page:
    """One page.

    `template` names the HTML that stands in the page before Dash starts, for what must not wait for it; `layout` gives
    the Dash components below it; `connect` puts its callbacks on the application, with the context (see context.py);
    `scripts` and `styles` are files in assets/ that only this page loads. `under` is the address of the page that the
    navigation marks in its place: such a page is reached from there and has no entry of its own.
    `changes` are the ids of the inputs on which something is saved or ended: who may only look is refused those; None
    refuses every callback of the page. `heading` is the page's h1 where it is not the title:
    the server draws it at once.
    """

    path: str
    title: str
    layout: Callable[[Any], Any] | None = None
    connect: Callable[[Any, Any], None] | None = None
    template: str = ""
    scripts: tuple[str, ...] = SCRIPTS
    styles: tuple[str, ...] = STYLES
    under: str = ""
    changes: frozenset[str] | None = None
    heading: str = ""


LIVE = "/live"
LOOKS: frozenset[str] = frozenset()  # a page that changes nothing

PAGES = (
    Page("/home", "Home", home_page.layout, styles=(*STYLES, "home.css"), changes=LOOKS, heading="Swardflow"),
    Page(
        LIVE,
        "Live",
        template="live/page.html",
        scripts=(
            *(f"live-{part}.js" for part in ("trace", "zoom", "link", "buttons", "alarm", "steer", "say", "awake")),
            "live.js",
        ),
        styles=("live.css",),
    ),
    Page(
        "/start",
        "Start",
        start_page.layout,
        start_page.connect,
        scripts=("select.js", POLLING, *SCRIPTS),
        styles=(*STYLES, "home.css"),
        changes=start_page.CHANGES,
        heading="Start a run",
    ),
    Page(
        "/runs",
        "Runs",
        list_page.layout,
        list_page.connect,
        scripts=(POLLING, *SCRIPTS),
        styles=(*STYLES, "runs.css"),
        changes=LOOKS,
    ),
    Page(
        "/run",
        "Run",
        run_page.layout,
        run_page.connect,
        scripts=("runs.js", *SCRIPTS),
        styles=(*STYLES, "runs.css"),
        under="/runs",
        changes=frozenset({"note-add"}),
    ),
    Page(
        "/compare",
        "Compare",
        compare_page.layout,
        compare_page.connect,
        scripts=(POLLING, *SCRIPTS),
        styles=(*STYLES, "runs.css"),
        changes=LOOKS,
    ),
    Page(
        "/calibrate",
        "Calibrate",
        calibrate_page.layout,
        calibrate_page.connect,
        scripts=("print.js", "select.js", "calibrate.js", POLLING, *SCRIPTS),
        changes=calibrate_page.CHANGES,
    ),
    Page(
        "/plan",
        "Plan",
        plan_page.layout,
        plan_page.connect,
        scripts=("metronome.js", "select.js", *SCRIPTS),
        changes=LOOKS,
    ),
    Page(
        "/mix",
        "Mix",
        mix_page.layout,
        mix_page.connect,
        scripts=("print.js", "select.js", *SCRIPTS),
        changes=frozenset({"mix-keep"}),
    ),
    Page(
        "/setup",
        "Set up",
        setup_page.layout,
        setup_page.connect,
        scripts=("select.js", "setup.js", *SCRIPTS),
        styles=(*STYLES, "setup.css"),
        changes=setup_page.CHANGES,
        heading="Set up my sprayer",
    ),
    Page(
        "/bringup",
        "Try the board",
        bringup_page.layout,
        bringup_page.connect,
        scripts=(POLLING, *SCRIPTS),
        styles=(*STYLES, "setup.css"),
        under="/setup",
        changes=bringup_page.CHANGES,
    ),
    Page("/rig", "Rig", rig_page.layout, scripts=("rig.js", *SCRIPTS), changes=LOOKS),
    Page("/backup", "Backup", backup_page.layout, scripts=("backup.js", *SCRIPTS), under="/home"),
    Page(
        "/guests",
        "Guests",
        guests_page.layout,
        guests_page.connect,
        scripts=(POLLING, *SCRIPTS),
        styles=(*STYLES, "guests.css"),
        changes=guests_page.CHANGES,
    ),
)


def page_at(path: str) -> Page | None:
    """The page with that address, whatever its last slash; the live page for none."""
    wanted = path.rstrip("/") or LIVE
    return next((page for page in PAGES if page.path == wanted), None)
