"""Rig files saved, changed and chosen: what stood there before is kept, and nobody's change is lost."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest

from host.errors import BadInputError, NotFoundError, NotNowError
from host.rig import rig_from_toml
from host.rig.known import known_rigs
from host.rig.rig_folder import add_rig, change_rig, earlier_versions, keep_bringup, last_bringup, own_rig
from tests.host.setup.test_rig_document import WHEEL

NOW = datetime(2026, 5, 14, 9, 15, 30)
RIG = rig_from_toml(WHEEL)


def named(name: str):
    return rig_from_toml(WHEEL.replace("Bench", name))


def test_a_change_keeps_the_version_before_with_its_date(tmp_path: Path) -> None:
    path = add_rig(tmp_path, RIG).path
    other = rig_from_toml(WHEEL.replace("10 gal", "12 gal"))
    change_rig(tmp_path, "bench", other, WHEEL, NOW)
    assert path.read_text(encoding="utf-8") == other.toml
    change_rig(tmp_path, "bench", RIG, other.toml, NOW)
    kept = earlier_versions(path)
    assert {each.name for each in kept} == {"2026-05-14T091530.toml", "2026-05-14T091530-2.toml"}
    assert {each.read_text(encoding="utf-8") for each in kept} == {WHEEL, other.toml}
    assert [known.name for known in known_rigs(tmp_path)] == ["bench"]
    change_rig(tmp_path, "bench", RIG, RIG.toml, NOW)  # nothing changed, nothing kept
    assert len(earlier_versions(path)) == 2


def test_a_change_made_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    add_rig(tmp_path, RIG)
    with pytest.raises(NotNowError, match="changed meanwhile"):
        change_rig(tmp_path, "bench", RIG, "as it was yesterday", NOW)
    assert own_rig(tmp_path, "bench").path.read_text(encoding="utf-8") == WHEEL


def test_names(tmp_path: Path) -> None:
    add_rig(tmp_path, RIG)
    with pytest.raises(BadInputError, match="already"):
        add_rig(tmp_path, named("BENCH"))
    assert add_rig(tmp_path, named("Bench!")).name == "bench-2"
    assert add_rig(tmp_path, named("喷雾")).path.parent == tmp_path / "rigs"
    assert add_rig(tmp_path, named("../../x")).path.parent == tmp_path / "rigs"
    with pytest.raises(BadInputError, match="already"):
        change_rig(tmp_path, "bench", named("Bench!"), WHEEL, NOW)
    for stranger in ("../secret", "", "bench.toml", "x" * 5000, "a\0b"):
        with pytest.raises(NotFoundError):
            own_rig(tmp_path, stranger)


def test_bring_ups_are_kept_with_the_rig(tmp_path: Path) -> None:
    path = add_rig(tmp_path, RIG).path
    assert last_bringup(tmp_path, "bench") == ""
    keep_bringup(tmp_path, "bench", '{"answer": "1 of 20 things are not as they should be."}', NOW)
    keep_bringup(tmp_path, "bench", '{"answer": "The board is good."}', NOW.replace(hour=10))
    assert last_bringup(tmp_path, "bench") == "14 May 2026: The board is good."
    assert earlier_versions(path) == []
    keep_bringup(tmp_path, "bench", "[1]", NOW.replace(hour=11))
    assert "try the board again" in last_bringup(tmp_path, "bench")
    assert keep_bringup(tmp_path, "/elsewhere/of another.toml", "{}", NOW).parent == tmp_path / "rigs" / "of another"
