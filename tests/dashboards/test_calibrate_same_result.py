"""The same points give the same result and the same card, whether typed in the terminal or on the page."""

from __future__ import annotations

import argparse
import json
import tomllib
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from dashboards.calibrate.session_store import SessionStore
from dashboards.context import PageContext
from host.calibrate.kinds import KINDS
from host.calibrate.kinds.kind import Kind
from host.cli import calibrate
from host.cli.main import Parser
from host.documents.json import to_json
from host.documents.text import format_text
from tests.dashboards.walking import RIG
from tests.dashboards.writing import begin

WALKER = RIG.with_name("harrow-lea-walker.toml")
NOZZLES = ("1210 mL", "1200 mL", "1215 mL", "1205 mL")
# kind -> settings, then (way, fields) of each point; the command is given the same as options.
POINTS: dict[str, tuple[dict[str, str], list[tuple[str, dict[str, str]]]]] = {
    "meter": (
        {"step": "5 mL"},
        [("typed", {"pulses": n, "amount": a, "time": "55 s"}) for n, a in (("1043", "2.31 L"), ("1051", "2.33 L"))],
    ),
    "pressure": (
        {"gauge_step": "0.5 psi"},
        [("typed", {"gauge": p, "counts": n}) for p, n in (("20 psi", "266"), ("40 psi", "430"))],
    ),
    "wheel": ({"course": "200 ft"}, [("typed", {"pulses": n}) for n in ("508", "509", "507")]),
    "course": ({"course": "60 m"}, [("typed", {"time": t}) for t in ("54 s", "55 s", "53 s")]),
    "boom": (
        {"speed": "2.5 mph"},
        [("typed", {"pressure": "40 psi", "time": "55 s", **{f"nozzle_{n + 1}": a for n, a in enumerate(NOZZLES)}})],
    ),
}


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    folder = tmp_path / "runs"
    folder.mkdir()
    return folder


def recorded(runs: Path, rig: Path) -> PageContext:
    """What the pages see once a run of the rig is there."""
    writer = begin(runs / "2026-05-14T0915-bowling-green.sward", rig.read_text(encoding="utf-8"))
    writer.close("complete", "test", 0, 1.0)
    return PageContext(runs, runs / "cards")


def by_page(store: SessionStore, kind: str, settings: dict[str, str], points: list[tuple[str, dict[str, str]]]) -> Any:
    """The document that the page shows, once the card is saved."""
    way = points[0][0]
    for at, fields in points:
        assert store.press(kind, at, "enter", settings | fields, (store.version,)), store.view(kind, at).notice
    document = store.view(kind, way).document
    store.press(kind, way, "save", settings, (store.version,))
    assert "New runs will use it" in store.view(kind, way).notice
    return document


def by_command(
    capsys: Any, rig: Path, cards: Path, kind: Kind, settings: dict[str, str], points: Any, *more: str
) -> str:
    words = ["calibrate", kind.name, "--rig", str(rig), "--cards", str(cards), *more]
    for name, value in settings.items():
        words += [f"--{name.replace('_', '-')}", value]
    for way_name, fields in points:
        way = next(way for way in kind.ways if way.name == way_name)
        words += [f"--{way.option}", *fields.values()]
    parser = Parser()
    calibrate.add_arguments(parser.add_subparsers(dest="command").add_parser("calibrate"))
    args: argparse.Namespace = parser.parse_args(words)
    calibrate.run(args)
    return str(capsys.readouterr().out)


def only_card(folder: Path, kind: str) -> dict[str, Any]:
    (path,) = folder.rglob(f"*-{kind}.toml")
    card = tomllib.loads(path.read_text(encoding="utf-8"))
    return {name: value for name, value in card.items() if name != "made"}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_terminal_page_and_json_tell_one_result(kind: Kind, runs: Path, tmp_path: Path, capsys: Any) -> None:
    rig = WALKER if kind.name == "course" else RIG
    settings, points = POINTS[kind.name]
    context = recorded(runs, rig)
    with closing(SessionStore(context)) as store:
        document = by_page(store, kind.name, settings, points)
    cards = tmp_path / "cards of the command"
    said = by_command(capsys, rig, cards, kind, settings, points)
    assert said.startswith(format_text(document))
    assert only_card(cards, kind.name) == only_card(context.cards, kind.name)
    shown = json.loads(by_command(capsys, rig, cards, kind, settings, points, "--json"))
    assert shown.pop("card").endswith(".toml")
    assert shown == json.loads(json.dumps(to_json(document)))


ZERO: list[tuple[str, dict[str, str]]] = [("zero", {"counts": "110"})]
TWO_POINTS = [("typed", {"gauge": p, "counts": n}) for p, n in (("40 psi", "380"), ("60 psi", "520"))]


def test_zeroing_the_transducer_keeps_the_span_of_the_active_card(runs: Path, tmp_path: Path, capsys: Any) -> None:
    """Both faces: the card's slope, not the rig file's; and the message says whose span it is."""
    (kind,) = (kind for kind in KINDS if kind.name == "pressure")
    context = recorded(runs, RIG)
    # The slope through 40 psi at 380 and 60 psi at 520 counts, over the 80 % of 1023 counts from 10 to 90 %.
    slope = 20 / (520 - 380) * 1023
    expected = slope * (0.9 - 110 / 1023)
    faces = []
    for cards in (context.cards, tmp_path / "cards"):
        by_command(capsys, RIG, cards, kind, {}, TWO_POINTS, "--accept")
    faces.append(by_command(capsys, RIG, tmp_path / "cards", kind, {}, ZERO))
    with closing(SessionStore(context)) as store:
        assert store.press("pressure", "typed", "enter", {"gauge": "0 psi", "counts": "110"}, (store.version,))
        document = store.view("pressure", "typed").document
    assert document is not None
    faces.append(format_text(document))
    for face in faces:
        assert f"{expected:.1f} psi at 90 %" in face
        assert "the span is still the one of the card of 20" in face
    assert faces[0].startswith(faces[1])


def test_a_card_that_comes_meanwhile_loses_no_tap_and_a_second_tap_takes_nothing_twice(
    runs: Path, tmp_path: Path, capsys: Any
) -> None:
    """The page has not drawn yet what a card of the command has changed, when somebody taps."""
    (meter, pressure) = (next(kind for kind in KINDS if kind.name == name) for name in ("meter", "pressure"))
    context = recorded(runs, RIG)
    catch = {"pulses": "1043", "amount": "2.31 L", "time": "55 s"}
    with closing(SessionStore(context)) as store:
        drawn = store.view("meter", "typed").version
        by_command(capsys, RIG, context.cards, pressure, {}, TWO_POINTS, "--accept")
        assert store.view("meter", "typed").version > drawn
        assert store.press(meter.name, "typed", "enter", catch, (drawn,))
        assert not store.press(meter.name, "typed", "enter", catch, (drawn,))
        assert not store.press(meter.name, "typed", "enter", catch, (store.version + 1,)), "of another server"
        assert store.press(meter.name, "typed", "enter", catch, (store.version,))
