"""Mix: what goes into the tank for an area, as a sheet that can be printed and kept with the run."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dash import Dash, Input, Output, State, html
from starlette.concurrency import run_in_threadpool

from dashboards.context import PageContext
from dashboards.plan.form_view import answered, form_view, inputs_of, typed_into, wrongs_of
from dashboards.ui.forms import attributes
from dashboards.ui.ways import rig_line
from host.documents.words import sentence
from host.entries import WrongEntriesError
from host.errors import UserError
from host.library.season_use import used_this_season
from host.plan.fields import JOB, PRODUCT
from host.plan.mix_document import mix_document
from host.plan.mix_form import Before, Sheet, work_out
from host.plan.sheet_file import keep_sheet

FORM = "mix"
MOST_PRODUCTS = 6
_PATIENCE_S = 5.0  # for runs that have to be read first


def layout(context: PageContext) -> html.Main:
    """The page for the rig at hand."""
    try:
        used = context.rig()
    except UserError as error:
        return html.Main([html.H1("Mix"), html.P(sentence(str(error)), className="notice")], className="sheet")
    system = used.rig.units
    products = [
        html.Div(
            [
                *([html.H2(f"Product {number}", className="part")] if number > 1 else []),
                *form_view(_form(number), PRODUCT, system),
            ],
            id=f"{_form(number)}-part",
            className="" if number == 1 else "hidden",
        )
        for number in range(1, MOST_PRODUCTS + 1)
    ]
    return html.Main(
        [
            html.H1("Mix"),
            rig_line(used.said, used.own),
            html.Div(
                [
                    html.Section(
                        [
                            html.Div(
                                [
                                    html.P("The label is the law.", className="say"),
                                    *products,
                                    html.Div(html.Button("Add a product", id="mix-add"), className="acts"),
                                    html.H2("Where", className="part"),
                                    *form_view(FORM, JOB, system),
                                    html.Div(html.Button("Calculate", id="mix-go", className="main"), className="acts"),
                                ],
                                className="no-print",
                            ),
                        ],
                    ),
                    html.Section(
                        [
                            html.Div(id="mix-sheet", className="result part", **attributes({"aria-live": "polite"})),
                            html.P(id="mix-kept", className="notice no-print", role="status"),
                            html.Div(
                                [
                                    html.Button("Print", id="mix-print", className="prints on-result"),
                                    html.Button("Keep for the next run", id="mix-keep", className="on-result"),
                                    html.A("Start a run", href="/start", className="press"),
                                ],
                                className="acts",
                            ),
                        ]
                    ),
                ],
                className="halves",
            ),
        ],
        className="sheet",
    )


def _form(number: int) -> str:
    return f"{FORM}-product-{number}"


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    numbers = range(1, MOST_PRODUCTS + 1)
    wrongs = [*wrongs_of(FORM, JOB), *(wrong for number in numbers for wrong in wrongs_of(_form(number), PRODUCT))]
    inputs = [*inputs_of(FORM, JOB), *(each for number in numbers for each in inputs_of(_form(number), PRODUCT))]

    @app.callback(
        *(Output(f"{_form(number)}-part", "className") for number in numbers if number > 1),
        Output("mix-add", "disabled"),
        Input("mix-add", "n_clicks"),
    )
    def add(clicks: int | None) -> tuple[Any, ...]:
        shown = 1 + (clicks or 0)
        return (*("" if number <= shown else "hidden" for number in numbers if number > 1), shown >= MOST_PRODUCTS)

    @app.callback(Output("mix-sheet", "children"), *wrongs, Input("mix-go", "n_clicks"), *inputs)
    async def sheet(clicks: int | None, *values: str | None) -> tuple[Any, ...]:
        typed = read_sheet(values)
        if not clicks and not typed.products:
            return ("", *[""] * len(wrongs))
        return await run_in_threadpool(_shown, context, typed)

    @app.callback(
        Output("mix-kept", "children"),
        Input("mix-keep", "n_clicks"),
        *(State(each.component_id, each.component_property) for each in inputs),
        prevent_initial_call=True,
    )
    async def keep(_: int | None, *values: str | None) -> str:
        return await run_in_threadpool(_kept, context, read_sheet(values))


def _shown(context: PageContext, typed: Sheet) -> tuple[Any, ...]:
    rig = context.rig().rig
    return answered(_names(), lambda: mix_document(rig, typed, rig.units, before=_before(context, typed)))


def _kept(context: PageContext, typed: Sheet) -> str:
    """Keep the sheet in the folder of runs; what was done, or why not."""
    try:
        rig = context.rig().rig
        job = work_out(rig, typed, rig.units, before=_before(context, typed))
        path = keep_sheet(context.runs, job, typed, datetime.now().astimezone())
    except WrongEntriesError:
        return "Not kept: correct the marked fields first."
    except UserError as error:
        return sentence(str(error))
    return f"Kept as {path.stem}. Start a run: it is chosen there."


def _before(context: PageContext, typed: Sheet) -> Before:
    """What the runs put down this season; nothing is looked up for products without a name."""
    if not any((product.get("name") or "").strip() for product in typed.products):
        return Before()
    look = context.run_cache.look(_PATIENCE_S)
    today = datetime.now().astimezone().date()
    return used_this_season(look.entries, today, typed.job.get("place") or "", len(look.unread))


def read_sheet(values: Sequence[str | None]) -> Sheet:
    """The sheet from the values of the page's inputs, up to the last product that something was typed for."""
    count = len(inputs_of(FORM, JOB))
    job = typed_into(JOB, values[:count])
    per_product = len(inputs_of(_form(1), PRODUCT))
    starts = range(count, count + MOST_PRODUCTS * per_product, per_product)
    products = [typed_into(PRODUCT, values[start : start + per_product]) for start in starts]
    while products and not any((text or "").strip() for text in products[-1].values()):
        products.pop()
    return Sheet(job, products)


def _names() -> list[str]:
    """Names of the fields for messages, in the order of the outputs; see `host.plan.mix_form.work_out`."""
    names = [entry.name for entry in JOB]
    for number in range(1, MOST_PRODUCTS + 1):
        after = "" if number == 1 else f" {number}"
        names += [entry.name + after for entry in PRODUCT if not entry.choices]
    return names
