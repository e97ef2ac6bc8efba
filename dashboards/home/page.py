"""Home: what is next, the steps of the job in their order, and the last run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import dash
from dash import html

from dashboards.context import PageContext, RigInUse
from dashboards.ui.fields import address
from dashboards.web.first_page import LIVE
from dashboards.web.units_choice import shown_units
from host.documents.words import format_day, sentence
from host.errors import UserError, visible
from host.library import Entry
from host.library.runs_document import applied_words, rate_words, signs

_PATIENCE_S = 0.3
_INSECURE = (
    "Without contact to the computer at the sprayer these pages do not open on this phone: browsers allow that, and "
    "keeping the screen on, only over https."
)


@dataclass(frozen=True)
class Step:
    """One step of the job: what its button says, where it leads, and what it is for."""

    name: str
    path: str
    what: str


STEPS = (
    Step("Set up my sprayer", "/setup", "Boom, tank, meter, wheel; then try the board."),
    Step("Plan", "/plan", "Pump, tips, speed and pressure for the rate you want."),
    Step("Calibrate", "/calibrate", "With clean water: meter, pressure, wheel, catch test."),
    Step("Mix", "/mix", "How much product goes into the tank."),
    Step("Start a run", "/start", "Spray and watch."),
)


def layout(context: PageContext) -> html.Main:
    """The page as things stand."""
    try:
        used = context.rig()
        trouble = ""
    except UserError as error:
        used, trouble = None, sentence(str(error))
    steps = [step for step in STEPS if _exists(step.path)]
    return html.Main(
        [
            html.H1("Swardflow"),
            *([html.P(trouble, className="notice")] if trouble else []),
            html.Div(
                [
                    html.Section([*_next(context, used), html.H2("All steps", className="part"), _listed(steps)]),
                    html.Section([*last_run(context), _second("Backup", "/backup")]),
                ],
                className="halves",
            ),
            html.P(_INSECURE, className="insecure part"),
        ],
        className="sheet",
    )


def _next(context: PageContext, used: RigInUse | None) -> list[Any]:
    """The answer: one sentence, and one button."""
    if context.live():
        return _answer("A run is being recorded.", "See it live", LIVE)
    if used is None or not used.own:
        if _exists("/setup"):
            return _answer("First tell Swardflow what your sprayer is.", "Set up my sprayer", "/setup")
        return _answer("No sprayer is set up yet. Look around with an example.", "Plan", "/plan")
    name = visible(used.rig.name)
    if not used.cards and not context.starting.emulated:
        words = f"{name} is set up and not calibrated yet: with clean water you learn how good its numbers are."
        return [*_answer(words, "Calibrate", "/calibrate"), _second("Start a run", "/start")]
    return _answer(f"{name} is ready.", "Start a run", "/start")


def _answer(words: str, button: str, path: str) -> list[Any]:
    return [
        html.P(words, className="headline part"),
        html.Div(html.A(button, href=path, className="press main"), className="acts"),
    ]


def _second(button: str, path: str) -> html.Div:
    return html.Div(html.A(button, href=path, className="press"), className="acts")


def _listed(steps: list[Step]) -> html.Ol:
    rows = [html.Li(html.A([html.B(step.name), html.Span(step.what)], href=step.path)) for step in steps]
    return html.Ol(rows, className="steps")


def last_run(context: PageContext) -> list[Any]:
    """What the newest run did, or that it is being read."""
    try:
        look = context.run_cache.look(_PATIENCE_S)
    except UserError as error:
        return [html.P(sentence(str(error)), className="notice")]
    newest = next((entry for entry in reversed(look.entries) if entry.digest is not None), None)
    heading = html.H2("Last run", className="part")
    if look.unread and (newest is None or _written_after(newest.path, look.unread)):
        return [heading, html.P("It is being read."), _second("Runs", "/runs")]
    if newest is None:
        return [heading, html.P("No run yet.")]
    return [heading, *_run(context, newest)]


def _written_after(path: Path, others: Sequence[Path]) -> bool:
    """Whether one of the others was written after `path`; what is gone by now was not."""

    def written(file: Path) -> float:
        try:
            return file.stat().st_mtime
        except OSError:
            return 0.0

    return any(written(other) > written(path) for other in others)


def _run(context: PageContext, entry: Entry) -> list[Any]:
    digest = entry.digest
    assert digest is not None
    what = " · ".join(visible(words) for words in (digest.site, digest.product) if words)
    units = shown_units(digest.units)
    rows = [format_day(digest.started), what, applied_words(digest, units), rate_words(digest, units)]
    rows += signs(digest, recording=context.run_cache.is_recording(entry))
    name = context.run_cache.name_of(entry.path)
    return [
        *(html.P(words) for words in rows if words),
        html.Div(html.A("See this run", href=address("/run", name=name), className="press"), className="acts"),
    ]


def _exists(path: str) -> bool:
    return any(page["path"] == path for page in dash.page_registry.values())
