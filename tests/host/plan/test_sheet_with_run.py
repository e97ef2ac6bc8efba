"""A mixing sheet from the mix to the run in which it is sprayed, and from the runs back to the next mix."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime

import pytest

from host.cli import record
from host.cli.record import plan_of
from host.documents.text import format_text
from host.errors import UserError
from host.library import Library
from host.library.season_use import used_this_season
from host.mix_sheet import amount_text, sheet_from_toml
from host.plan.sheet_file import kept_sheets
from host.review.run_document import run_document
from tests.host.library.made import short_scenario, simulated_run
from tests.host.plan.asking import US, ask

PER_1000 = 29.5735295625e-6 / (1000 * 0.3048**2)


@pytest.fixture(scope="module")
def rig_file(tmp_path_factory):
    """The rig of the simulated runs."""
    file = tmp_path_factory.mktemp("rig") / "rig.toml"
    file.write_text(short_scenario().rig.toml, encoding="utf-8")
    return str(file)


@pytest.fixture(scope="module")
def sheet_text(rig_file, tmp_path_factory):
    file = tmp_path_factory.mktemp("sheet") / "sheet.toml"
    answer = ask(
        "mix", "--rig", rig_file, "--area", "1/2 acre", "--runs", str(file.parent),
        "--product", "2 fl oz/1000 ft2", "--name", "Clover killer", "--most", "2.5 fl oz/1000 ft2", "--kind", "EC",
        "--product", "2 lb/acre", "--name", "Dust", "--kind", "WP", "--out", str(file),
    )  # fmt: skip
    assert answer.code == 0, answer.err
    return file.read_text(encoding="utf-8")


def test_the_sheet_says_how_strong_the_mix_is(sheet_text):
    sheet = sheet_from_toml(sheet_text)
    dust, killer = sheet.products
    assert (dust.name, killer.name, dust.dry, killer.dry) == ("Dust", "Clover killer", True, False)
    # At 1 gal/1000 ft2 two fluid ounces are in each gallon.
    assert killer.strength[0] == pytest.approx(2 / 128, rel=1e-8)
    assert killer.most[0] == pytest.approx(2.5 * PER_1000, rel=1e-8)
    assert dust.strength[0] == pytest.approx(2 * 0.45359237 / 43.56 / 3.785411784e-3, rel=1e-8)
    assert killer.dose == "2 fl oz/1000 ft2" and sheet.area == "1/2 acre"
    again = ask("mix", "--rig", US, "--product", "1 pt/acre", "--out", "/dev/null/x.toml")
    assert again.code == 2 and "cannot be written" in again.err


def test_a_run_keeps_its_sheet_and_the_review_reads_it_back(sheet_text, tmp_path):
    simulated_run(tmp_path / "r.sward", datetime(2026, 5, 14, 9, tzinfo=UTC), {"area": "Rose walk"}, mixes=[sheet_text])
    review = Library(tmp_path).review(tmp_path / "r.sward")
    dust, killer = review.products
    rate = review.totals.rate_m3_m2
    assert killer.per_area == pytest.approx(rate * 2 / 128)
    assert killer.limit == pytest.approx(2.5 * PER_1000)
    text = format_text(run_document(review, "us"))
    assert "Clover killer" in text and "Dust" in text
    document_rows = next(
        block for block in run_document(review, "us").blocks() if getattr(block, "key", "") == "products"
    )
    assert [row[0] for row in document_rows.rows] == ["Dust", "Clover killer"]
    (entry,) = Library(tmp_path).entries()
    assert entry.digest.product == "Dust, Clover killer"
    assert {product.name for product in entry.digest.products} == {"Dust", "Clover killer"}
    assert dust.total > 0


def test_several_sheets_in_one_run_are_told_and_not_mixed_up(sheet_text, tmp_path):
    other = sheet_text.replace("Dust", "Powder")
    simulated_run(tmp_path / "r.sward", datetime(2026, 5, 14, 9, tzinfo=UTC), mixes=[sheet_text, other])
    review = Library(tmp_path).review(tmp_path / "r.sward")
    assert "2 mixing sheets" in format_text(run_document(review, "us"), everything=True)
    with pytest.raises(UserError, match="2 mixing sheets"):
        _ = review.products
    (entry,) = Library(tmp_path).entries()
    assert "2 mixing sheets" in entry.digest.remark


def test_a_season_adds_up_from_the_runs_of_a_place(sheet_text, tmp_path, rig_file):
    year = date.today().year
    for name, day, place in (("a", 10, "Rose walk"), ("b", 11, "rose walk"), ("c", 12, "Green")):
        simulated_run(
            tmp_path / f"{name}.sward", datetime(year, 1, day, tzinfo=UTC), {"area": place}, mixes=[sheet_text]
        )
    simulated_run(tmp_path / "d.sward", datetime(year - 1, 6, 1, tzinfo=UTC), {"area": "Rose walk"}, mixes=[sheet_text])
    entries = Library(tmp_path).entries()
    here = used_this_season(entries, date(year, 12, 31), "Rose Walk")
    assert (here.used["dust"].runs, here.used["clover killer"].runs, here.not_counted) == (2, 2, 0)
    rates = [entry.digest.rate_m3_m2 for entry in entries if entry.digest.site.lower() == "rose walk"]
    one = here.used["clover killer"]
    assert one.per_area == pytest.approx(sum(rates[-2:]) * 2 / 128)
    assert used_this_season(entries, date(year, 12, 31)).used["dust"].runs == 3
    assert used_this_season(entries, date(year, 1, 10)).used["dust"].runs == 1
    # The next mix counts it by itself: the third application goes beyond five.
    (tmp_path / "torn.sward").write_bytes(b"nothing of the kind")
    words = ("mix", "--rig", rig_file, "--runs", str(tmp_path), "--place", "Rose walk", "--product", "2 fl oz/1000 ft2")
    answer = ask(*words, "--name", "Clover Killer", "--season", "5 fl oz/1000 ft2")
    assert answer.code == 1
    assert "more than the label allows per season" in answer.out
    assert (
        f"2 runs put down {one.per_area / PER_1000:.2f} fl oz/1000 ft² since 1 January {year} on Rose walk"
        in answer.out
    )
    assert "1 run file is not counted" in answer.out
    assert ask(*words, "--name", "Other", "--season", "5 fl oz/1000 ft2").code == 0


@pytest.mark.parametrize("told", ["noted later", "two sheets", "damaged sheet", "no mix"])
def test_a_season_leaves_no_run_out_in_silence(sheet_text, tmp_path, rig_file, told):
    """Each of these runs put down as much as one with its sheet: counted, or said to be missing."""
    notes = {"area": "Rose  walk", "product": "Clover Killer"}
    if told == "noted later":
        notes |= {"mix": "2 fl oz/gal"}
    mixes = {"two sheets": [sheet_text, sheet_text.replace("Dust", "Powder")], "damaged sheet": ["rig = "]}.get(
        told, []
    )
    simulated_run(tmp_path / "r.sward", datetime(date.today().year, 1, 1, 9, tzinfo=UTC), notes, mixes=mixes)
    words = ("mix", "--rig", rig_file, "--runs", str(tmp_path), "--place", "rose walk", "--product", "2 fl oz/1000 ft2")
    answer = ask(*words, "--name", "Clover killer", "--season", "3 fl oz/1000 ft2")
    assert answer.code == 1
    counted = "1 run put down" in answer.out and "more than the label allows per season" in answer.out
    assert counted == (told == "noted later")
    assert ("1 run does not say how much of it went down this season" in answer.out) == (not counted)
    # Who says what was used is not asked again, and another product is none of its business.
    used = ask(*words, "--name", "Clover killer", "--season", "9 fl oz/1000 ft2", "--used", "2 fl oz/1000 ft2")
    assert used.code == 0 and "does not say" not in used.out
    assert ask(*words, "--name", "Other", "--season", "3 fl oz/1000 ft2").code == 0


def arguments(*words):
    parser = argparse.ArgumentParser()
    record.add_arguments(parser.add_subparsers(dest="command").add_parser("record"))
    return parser.parse_args(["record", "--port", "socket://nowhere:1", *words])


def test_the_tank_begins_with_the_first_load_of_the_sheet(tmp_path, rig_file):
    """Five yards by ten at 1 gal/1000 ft2 are 0.45 gal, and not a tank of them: what is left would be told wrong."""
    file = tmp_path / "sheet.toml"
    asked = ("mix", "--rig", rig_file, "--product", "2 fl oz/1000 ft2", "--out", str(file), "--runs", str(tmp_path))
    assert ask(*asked, "--area", "450 ft2").code == 0
    args = ("--rig", rig_file, "--sheet", str(file), "--runs", str(tmp_path))
    gallon = 3.785411784e-3  # NIST Handbook 44, Appendix C
    assert plan_of(arguments(*args)).tank_m3 == pytest.approx(0.45 * gallon, rel=1e-5)
    assert plan_of(arguments(*args, "--tank", "2 gal")).tank_m3 == pytest.approx(2 * gallon)
    without = file.read_text(encoding="utf-8").splitlines(keepends=True)  # as sheets were written before
    file.write_text("".join(line for line in without if not line.startswith("load")), encoding="utf-8")
    assert plan_of(arguments(*args)).tank_m3 is None


def test_the_start_of_a_run_takes_the_sheet(sheet_text, tmp_path, rig_file):
    file = tmp_path / "sheet.toml"
    file.write_text(sheet_text, encoding="utf-8")
    args = arguments("--rig", rig_file, "--sheet", str(file), "--runs", str(tmp_path))
    assert plan_of(args).mix_toml == sheet_text
    assert f"--sheet={file}" in record.run_request(args).arguments()
    with pytest.raises(UserError, match="no mixing sheet is kept"):
        plan_of(arguments("--rig", rig_file, "--sheet", "latest", "--runs", str(tmp_path)))
    (tmp_path / "mixes").mkdir()
    (tmp_path / "mixes" / "2026-05-14T0915-a.toml").write_text(sheet_text, encoding="utf-8")
    latest = arguments("--rig", rig_file, "--sheet", "latest", "--runs", str(tmp_path))
    assert plan_of(latest).mix_toml == sheet_text
    with pytest.raises(UserError, match="was made for the sprayer"):
        plan_of(arguments("--rig", US, "--sheet", str(file)))
    with pytest.raises(UserError, match="does not exist"):
        plan_of(arguments("--rig", rig_file, "--sheet", str(tmp_path / "none.toml")))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("[[product]]", "[[produce]]", 'did you mean "product"'),
        ("mL/L", "mL/m2", "product per volume"),
        ('"Dust"', '""', "name"),
        ("rig = ", "rigg = ", "unknown"),
    ],
)
def test_a_sheet_that_was_spoilt_says_where(sheet_text, old, new, says):
    with pytest.raises(UserError, match=r"^sheet.toml|in sheet.toml") as caught:
        sheet_from_toml(sheet_text.replace(old, new), "sheet.toml")
    assert says in str(caught.value)


def test_amounts_of_a_sheet_come_back_as_they_were():
    text = 'rig = "R"\nrate = "1"\n[[product]]\nname = "A"\nstrength = "{}"\nseason = "{}"\n'
    for dry in (False, True):
        sheet = sheet_from_toml(text.format(amount_text(0.0123456789, dry, "volume"), amount_text(2.5e-7, dry, "area")))
        (product,) = sheet.products
        assert product.strength == (pytest.approx(0.0123456789, rel=1e-8), dry)
        assert product.season == (pytest.approx(2.5e-7, rel=1e-8), dry)


def test_sheets_that_are_kept_are_found_newest_first(tmp_path):
    (tmp_path / "mixes").mkdir()
    for name in ("2026-05-14T0915-a", "2026-05-15T0915-b"):
        (tmp_path / "mixes" / f"{name}.toml").write_text("")
    assert [path.stem for path in kept_sheets(tmp_path)] == ["2026-05-15T0915-b", "2026-05-14T0915-a"]
