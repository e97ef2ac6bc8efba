"""How much of a ± is for what was not measured: said, in one sentence, where the ± is wider than it had to be."""

import tomllib

import numpy as np
import pytest

from host.calibrate.budget import what_is_assumed
from host.calibrate.travel import calibrate_course, calibrate_wheel
from host.calibrate.uncertainty import Component, combine
from tests.bench import bench_coverage
from tests.bench.coverage_rows import told_why
from tests.host.calibrate.test_one_plus_minus import RIG, WORDS
from tests.host.plan.asking import ask

TOO_LITTLE = "of this ± is for what was measured too little or not at all"
# Kinds of keepers who have better than is told or assumed: rows of the bench, of each cause one.
WIDE = (
    "factor, 10 mL jug of 1 %, n = 3",
    "run, jug of 2% not told, n = 6",
    "three flows x 1, hump 6%, run between",
    "wheel, tape to 0.5 % (told), slip 0.2 %, n = 6",
    "wheel, one magnet, same start, n = 12",
    "pace varying 1%, one more pass, n = 8",
    "points 0 15 30, gauge 3 psi mixed, run at 50-60",
    "boom at 30 psi, gauge 3 psi mixed",
)


@pytest.mark.parametrize(
    ("seen", "words"),
    [(0.004, ""), (0.0038, ""), (0.002, "About half"), (0.0, "Nearly all")],
)
def test_it_is_as_much_as_the_plus_minus_loses_without_it(seen, words):
    """One part: without what was not seen the ± is seen / 0.004 of itself (GUM 5.1.2, 6.2.1)."""
    said = what_is_assumed(combine([Component("slip of the wheel", 0.004, seen=seen)]))
    assert said == (words and f"{words} {TOO_LITTLE}: how much the wheel slips. "
                    "To measure it, roll the course more often.")  # fmt: skip


def test_few_repeats_are_too_little_measured():
    """All of it was seen, with three degrees of freedom: t is 3.18 in place of 1.96 (GUM table G.2)."""
    few, more = (what_is_assumed(combine([Component("slip", 0.01, n, seen=0.01)])) for n in (3, 20))
    assert few.startswith("About a third of this ± is for") and not more


def test_the_largest_comes_first_and_what_makes_less_than_a_tenth_is_left_out():
    """0.4 % and 0.3 % make 0.5 %, and 0.05 % beside them nothing that is seen: root sum of squares (GUM 5.1.2)."""
    parts = Component("scale of the jug", 0.003), Component("repeatability", 0.004), Component("reading", 0.0005)
    assert what_is_assumed(combine(parts)).startswith(
        f"Nearly all {TOO_LITTLE}: how much the meter scatters and how true the jug is."
    )


def test_laps_that_are_many_need_no_assumption():
    rng = np.random.default_rng(12)
    many = calibrate_course(60.0, list(50.0 * (1.0 + rng.normal(0, 0.03, 40))), 0.001)
    assert "your pace varies" not in what_is_assumed(many.uncertainty)
    assert "your pace varies" in what_is_assumed(calibrate_course(60.0, [50.0, 50.1, 50.4], 0.001).uncertainty)
    assert "wheel slips" in what_is_assumed(calibrate_wheel(60.0, [5000, 5001], 0.001).uncertainty)


@pytest.mark.parametrize("name", WIDE)
def test_who_has_better_than_assumed_is_told_what_it_is(name):
    parts = bench_coverage.meter_cases, bench_coverage.curve_cases, bench_coverage.travel_cases
    cases = dict(case for part in (*parts, bench_coverage.pressure_cases) for case in part())
    rng = np.random.default_rng([41, *name.encode()])
    assert told_why(name, [cases[name](rng) for _ in range(40)]) >= 97.0


def test_terminal_card_and_json_say_the_same(tmp_path):
    words = ("calibrate", "meter", "--rig", RIG, "--cards", str(tmp_path), *WORDS)
    said = ask(*words, "--json")
    (sentence,) = (message for message in said.json["messages"] if message.get("kind") == "assumed")
    assert sentence["text"].startswith(f"Most {TOO_LITTLE}: how true the jug is.")
    card = tomllib.loads(next(tmp_path.rglob("*-meter.toml")).read_text(encoding="utf-8"))
    assert card["measurements"]["assumed"] == sentence["text"]
    shown = " ".join(ask(*words, "--no-card").out.split())
    assert sentence["text"] in shown
