"""/metrics, read by the reference client of its format (prometheus_client), and who may read it."""

from __future__ import annotations

import asyncio
import math
from pathlib import Path
from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families

from dashboards.live.broadcaster import Broadcaster
from dashboards.live.figures import Figures
from dashboards.live.metrics import exposition
from dashboards.live.run_screen import RunScreen
from dashboards.sharing.metrics_key import MetricsMiddleware, metrics_key

RECORDING = next((Path(__file__).parents[2] / "recordings").glob("*.sward"))
NAME = 'back\\slash "lawn"\nnorth'


def samples(text: str) -> dict[tuple[str, ...], float]:
    """Name and label values to value."""
    families = list(text_string_to_metric_families(text))
    assert all(family.documentation and family.type == "gauge" for family in families)
    return {(each.name, *each.labels.values()): each.value for family in families for each in family.samples}


@pytest.fixture(scope="module")
def screen() -> RunScreen:
    """The repository's recording, followed to its middle, where the boom sprays."""
    data = RECORDING.read_bytes()
    screen = RunScreen(NAME)
    screen.push(data[: len(data) // 2])
    return screen


def test_the_reference_parser_reads_the_numbers_of_the_live_row(screen: RunScreen) -> None:
    figures = screen.figures("on")
    read = samples(exposition(figures, 0.1))
    under_way = [fault["kind"] for fault in figures.row["faults"]]
    assert {key[2] for key in read if key[0] == "swardflow_faults" and len(key) == 3} == set(under_way)
    assert read["swardflow_flow_cubic_meters_per_second", NAME] == figures.row["flow_m3_s"] > 0
    assert read["swardflow_volume_cubic_meters", NAME] == figures.row["volume_m3"] > 0
    assert read["swardflow_report_age_seconds", NAME] == 0.1
    assert read["swardflow_recording",] == read["swardflow_saving",] == 1
    assert all(math.isfinite(value) for value in read.values())


def test_what_is_not_known_is_absent_and_what_is_old_is_not_repeated(screen: RunScreen) -> None:
    figures = screen.figures("on")
    lost = Figures(NAME, dict.fromkeys(figures.row), figures.stale_ms, "on")
    assert {name for name, *_ in samples(exposition(Figures(NAME, {**lost.row, "faults": []}, 750, "on"), 0.1))} == {
        "swardflow_recording",
        "swardflow_saving",
        "swardflow_report_age_seconds",
        "swardflow_faults",
    }
    for old in (exposition(figures, 60.0), exposition(screen.figures("ended"), 0.1)):
        names = {name for name, *_ in samples(old)}
        assert "swardflow_volume_cubic_meters" in names
        assert not names & {"swardflow_flow_cubic_meters_per_second", "swardflow_spraying", "swardflow_faults"}
    assert samples(exposition(Figures(), None)) == {}
    assert samples(exposition(Figures(recording="none"), None)) == {("swardflow_recording",): 0.0}
    silent = {name for name, *_ in samples(exposition(screen.figures("silent"), 0.1))}
    assert "swardflow_recording" not in silent


def test_faults_are_counted_by_cause() -> None:
    row = {"faults": [{"kind": "clogged"}, {"kind": "clogged"}, {"kind": "air"}]}
    read = samples(exposition(Figures("r", row, 750, "on"), 0.0))
    assert (read["swardflow_faults", "r", "clogged"], read["swardflow_faults", "r", "air"]) == (2, 1)


def test_the_numbers_come_by_way_of_the_broadcaster(screen: RunScreen) -> None:
    newest = Broadcaster(clock=lambda: 100.0)
    assert newest.figures() == (Figures(), None)
    newest.publish({}, [], 99.5, figures=screen.figures("on"))
    assert newest.figures() == (screen.figures("on"), 0.5)


def asked(key: str, method: str = "GET", path: str = "/metrics", *headers: tuple[bytes, bytes]) -> str:
    reached = []

    def part(name: str) -> Any:
        async def app(scope: Any, receive: Any, send: Any) -> None:
            reached.append(name)

        return app

    door = MetricsMiddleware(part("metrics"), part("sessions"), key)
    asyncio.run(door({"type": "http", "method": method, "path": path, "headers": headers}, None, None))  # type: ignore[arg-type]
    return reached[0]


def test_the_key_opens_metrics_and_nothing_else(tmp_path: Path) -> None:
    key = metrics_key(tmp_path / "kept" / "key")
    assert metrics_key(tmp_path / "kept" / "key") == key and len(key) > 40
    assert (tmp_path / "kept" / "key").stat().st_mode & 0o077 == 0
    right = (b"authorization", f"Bearer {key}".encode())
    assert asked(key, "GET", "/metrics", right) == "metrics"
    for method, path, headers in (
        ("GET", "/metrics", ()),
        ("GET", "/metrics", ((b"authorization", b"Bearer wrong"),)),
        ("GET", "/metrics", (right, right)),
        ("GET", "/metrics", ((b"authorization", b"Bearer"),)),
        ("POST", "/metrics", (right,)),
        ("GET", "/runs", (right,)),
    ):
        assert asked(key, method, path, *headers) == "sessions", (method, path)
    assert asked("", "GET", "/metrics", (b"authorization", b"Bearer ")) == "sessions"
