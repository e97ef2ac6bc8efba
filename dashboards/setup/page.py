"""Set up: the sprayers there are, and one described by answers. What comes of it is a rig file."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboards.context import PageContext
from dashboards.setup.form import CHOICES, FORM, answers_of, form_view, only_id, shown_wrong, states, wrongs
from dashboards.ui.document_view import answer_view, sections_view
from dashboards.ui.fields import address, asked_for
from dashboards.ui.forms import chips, entry_id
from host.documents.words import plural, sentence
from host.entries import WrongEntriesError
from host.errors import NotFoundError, NotNowError, UserError, visible
from host.rig import rig_from_toml
from host.rig.known import KnownRig, example_rigs, known_rigs
from host.rig.rig_folder import add_rig, change_rig, own_rig, rig_file_text
from host.setup.answers import answers_from_tree, rig_from_answers
from host.setup.questions import BY_NAME, NAME, UNITS
from host.setup.rig_document import rig_document

CHANGES = frozenset({"setup-go", "setup-use"})
_UNITS_ID = "setup-units"
NEW, CHANGE, LIKE = "new", "rig", "like"  # what an address asks for


def layout(context: PageContext) -> html.Main:
    """The page; what it shows hangs on its address."""
    del context
    return html.Main(
        [
            dcc.Location(id="setup-url", refresh=True),
            html.H1("Set up my sprayer"),
            html.Div(
                [
                    html.Div(id="setup-rigs"),
                    chips("setup-chosen", "Which one is used?", {}, ""),
                    html.Div(html.Button("Use this one", id="setup-use"), className="acts"),
                    html.P(id="setup-used", className="notice part", role="status"),
                ],
                id="setup-list",
                className="hidden",
            ),
            html.Div(
                [
                    html.Div(id="setup-above"),
                    chips(_UNITS_ID, UNITS.label, dict(UNITS.choices), "us"),
                    html.Div(id="setup-form", className="setup-form"),
                    dcc.Store(id="setup-seen"),
                    html.P(id="setup-said", className="notice part", role="alert"),
                    html.Div(html.Button("Save", id="setup-go", className="main"), className="acts"),
                ],
                id="setup-part",
                className="hidden",
            ),
            html.Div(id="setup-result", className="result part"),
        ],
        className="sheet",
    )


def connect(app: Dash, context: PageContext) -> None:
    """The page's callbacks."""
    _connect_list(app, context)
    _connect_form(app, context)
    for choice, value in CHOICES:
        _connect_choice(app, choice, value)

    @app.callback(
        Output("setup-result", "children"),
        Output("setup-part", "className", allow_duplicate=True),
        Output("setup-said", "children"),
        *wrongs(),
        Input("setup-go", "n_clicks"),
        State("setup-url", "search"),
        State("setup-seen", "data"),
        State(_UNITS_ID, "value"),
        *states(),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, search: str | None, seen: str, system: str, *values: str | None) -> tuple[Any, ...]:
        untouched = (no_update, *shown_wrong(None, no_update))
        if not clicks:
            return (no_update, no_update, *untouched)
        try:
            known = _saved(context, search, seen, answers_of(values, system))
        except WrongEntriesError as wrong:
            names = [BY_NAME[name].label for name in wrong.sentences]
            said = f"{plural(len(names), 'answer')} to look at: {', '.join(names)}."
            return ("", no_update, said, *shown_wrong(wrong, no_update))
        except UserError as error:
            return ("", no_update, sentence(str(error)), *shown_wrong(None, no_update))
        return (_result(known), "hidden", "", *shown_wrong(None, no_update))


def _connect_list(app: Dash, context: PageContext) -> None:
    @app.callback(
        Output("setup-rigs", "children"),
        Output("setup-chosen", "options"),
        Output("setup-chosen", "value"),
        Output("setup-list", "className"),
        Input("setup-url", "search"),
    )
    def listed(search: str | None) -> tuple[Any, ...]:
        own = known_rigs(context.runs)
        if not own or _asks(search):
            return [], [], None, "hidden"
        chosen = context.chosen_rig()
        options = [{"label": visible(rig.rig.name), "value": rig.name} for rig in own if rig.rig]
        return _rigs(own), options, chosen.name if chosen else None, "" if len(options) > 1 else "alone"

    @app.callback(
        Output("setup-used", "children"),
        Input("setup-use", "n_clicks"),
        State("setup-chosen", "value"),
        prevent_initial_call=True,
    )
    def use(clicks: int | None, name: str | None) -> Any:
        if not clicks or not name:
            return no_update
        try:
            known = own_rig(context.runs, name)
            context.remember(rig=known.name)
        except UserError as error:
            return sentence(str(error))
        return f"{known.rig.name if known.rig else name} is used from now on."


def _connect_form(app: Dash, context: PageContext) -> None:
    @app.callback(
        Output("setup-above", "children"),
        Output("setup-part", "className"),
        Output(_UNITS_ID, "value"),
        Input("setup-url", "search"),
    )
    def above(search: str | None) -> tuple[Any, str, Any]:
        if not _asks(search) and known_rigs(context.runs):
            return [], "hidden", no_update
        try:
            base = _base(context, search)
        except UserError as error:
            return html.P(sentence(str(error)), className="notice", role="alert"), "broken", no_update
        units = tomllib.loads(base).get("units", "us") if base else no_update
        return _above(search), "", units

    @app.callback(
        Output("setup-form", "children"),
        Output("setup-seen", "data"),
        Input("setup-url", "search"),
        Input(_UNITS_ID, "value"),
    )
    def form(search: str | None, system: str | None) -> tuple[Any, str]:
        try:
            base = _base(context, search)
        except UserError:
            return [], ""
        answers = answers_from_tree(tomllib.loads(base)) if base else {}
        if not asked_for(search, CHANGE):
            answers.pop(NAME.name, None)
        kept = f"{search} {len(known_rigs(context.runs))} {_digest(base)}"
        return form_view(system or "us", answers, kept), _digest(base)


def _connect_choice(app: Dash, choice: str, value: str) -> None:
    @app.callback(
        *(Output(only_id((choice, value), more), "className") for more in (False, True)),
        Input(entry_id(FORM, choice), "value"),
    )
    def shown(answer: str | None) -> tuple[str, str]:
        css = "fields" if answer == value else "hidden"
        return css, css


def _asks(search: str | None) -> bool:
    """Whether the address asks for the form and not for the list."""
    return any(asked_for(search, what) for what in (NEW, CHANGE, LIKE))


def _base(context: PageContext, search: str | None) -> str:
    """The text of the rig file that the form begins with; empty for a new sprayer. Raises UserError."""
    if name := asked_for(search, CHANGE):
        text = rig_file_text(own_rig(context.runs, name).path)
    elif name := asked_for(search, LIKE):
        text = next((rig.rig.toml for rig in example_rigs() if rig.name == name and rig.rig), "")
        if not text:
            raise NotFoundError(f"there is no example {name[:60]!r}: go back and choose one")
    else:
        return ""
    return rig_from_toml(text, "the rig file").toml


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _saved(context: PageContext, search: str | None, seen: str, answers: dict[str, str | None]) -> KnownRig:
    """The answers as a rig file; the new sprayer is the one that is used. Raises WrongEntriesError, UserError."""
    base = _base(context, search)
    if _digest(base) != seen:
        raise NotNowError("this sprayer was changed meanwhile, here or on another screen: open it again")
    rig = rig_from_answers(answers, tomllib.loads(base))
    if name := asked_for(search, CHANGE):
        return change_rig(context.runs, name, rig, base, datetime.now())
    known = add_rig(context.runs, rig)
    context.remember(rig=known.name)
    return known


def _above(search: str | None) -> list[Any]:
    """What stands above the form."""
    if asked_for(search, CHANGE):
        return [html.P("Change what is not right any more. The version before is kept.", className="about")]
    examples = [] if asked_for(search, LIKE) else [known for known in example_rigs() if known.rig]
    links = [html.A(known.rig.name, href=address("/setup", like=known.name)) for known in examples if known.rig]
    begin = (
        [html.P("Or begin with an example:", className="about"), html.Nav(links, className="examples")] if links else []
    )
    return [
        html.P("A dozen answers. What you do not know yet, take as it is typical: calibrating finds it out.",
               className="about"),
        *begin,
    ]  # fmt: skip


def _rigs(own: Sequence[KnownRig]) -> list[Any]:
    """The sprayers there are, each with what can be done, and a way to a new one."""
    rows = []
    for known in own:
        name = visible(known.rig.name) if known.rig else f"{known.name}: {sentence(known.trouble)}"
        ways = [("Change", address("/setup", rig=known.name)), ("Try the board", address("/bringup", rig=known.name))]
        links = [html.A(words, href=to, className="press") for words, to in ways] if known.rig else []
        rows.append(html.Div([html.H2(name), html.Div(links, className="acts")], className="part"))
    new = html.Div(html.A("Describe another sprayer", href=address("/setup", new="1"), className="press"),
                   className="acts")  # fmt: skip
    return [*rows, new]


def _result(known: KnownRig) -> list[Any]:
    """What came of it, and what to do next."""
    assert known.rig is not None
    document = rig_document(known.rig)
    first = [section for section in document.sections if section.key in ("fit", "gaps")]
    return [
        html.P(f"Saved: {visible(known.rig.name)}.", className="about", role="status"),
        answer_view(document),
        html.Div(
            [
                html.A("Try the board", href=address("/bringup", rig=known.name), className="press main"),
                html.A("Plan", href="/plan", className="press"),
                html.A("Calibrate", href="/calibrate", className="press"),
                html.A("Change", href=address("/setup", rig=known.name), className="press"),
            ],
            className="acts",
        ),
        *sections_view(first),
    ]
