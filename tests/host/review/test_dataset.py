"""The record: a page that runs nothing, CSV that no spreadsheet runs, Parquet that other engines read."""

import csv
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser

import duckdb
import pandas as pd
import pytest

from host.cli.main import main
from host.documents.csv import format_csv, text_cell
from host.documents.document import Plot
from host.errors import visible
from host.library import Library
from host.library.runs_document import runs_section, runs_table
from host.review.ground_sections import ALONG
from host.review.report import CAUTIONS, format_report
from host.review.run_document import run_document
from host.review.season import season_of
from host.review.season_document import season_document
from host.simulate.scenario_source import ScenarioSource, run_frames
from tests.host.library.made import short_scenario, write

DAY = datetime(2026, 5, 14, 9, 15, tzinfo=UTC)
NASTY = '<script>alert(1)</script><img src=x onerror="alert(2)">&\'"'
# OWASP, "CSV Injection": characters that begin a formula, and a payload of the kind described there.
PAYLOADS = [
    " =1+1",
    "\u200b=1+1",
    "\ufeff=1+1",
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    '=HYPERLINK("http://x","y")',
    "=cmd|' /C calc'!A0",
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    scenario = short_scenario()
    frames = run_frames(ScenarioSource(scenario))
    other = scenario.rig.toml.replace("Harrow Lea bowling green boom", "Second crew's boom")
    notes = {"area": NASTY, "product": "=2+3", "weather": "light air", "mix": "20 mL/L", "operator": "J."}
    write(folder / "a.sward", frames, scenario.rig.toml, DAY, notes)
    write(folder / "b.sward", frames, scenario.rig.toml, DAY.replace(year=2025), {"area": "Rose walk"})
    write(folder / "c.sward", frames, other, DAY, {"area": "Far lawn"})
    return folder


class Seen(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *one) for one in attrs]

    def handle_data(self, data):
        self.text.append(data)


def seen(html):
    parser = Seen()
    parser.feed(html)
    return parser


def pages(folder, system):
    library = Library(folder)
    entries = library.entries()
    season = season_document(season_of([entry.digest for entry in entries]), system)
    yield format_report(run_document(library.review(folder / "a.sward"), system), DAY)
    yield format_report(season, DAY, [runs_section(entries, folder, system)])


@pytest.mark.parametrize("system", ["us", "metric"])
def test_pages_run_nothing_and_load_nothing(folder, system):
    for html in pages(folder, system):
        page = seen(html)
        assert not {"script", "img", "link", "iframe", "object", "a"} & set(page.tags)
        assert not [
            one for one in page.attributes if one[1].startswith("on") or one[1] in ("src", "href", "xlink:href")
        ]
        assert "default-src 'none'" in html
        assert "url(" not in html and "@import" not in html
        assert NASTY in "".join(page.text)
        for caution in CAUTIONS:
            assert caution in "".join(page.text)
        for svg in re.findall(r"<svg.*?</svg>", html, re.DOTALL):
            ET.fromstring(svg)


def test_the_page_says_what_the_review_says(folder):
    html = format_report(run_document(Library(folder).review(folder / "a.sward"), "us"), DAY)
    text = "".join(seen(html).text)
    assert "14 May 2026, 09:15" in text
    assert "gal/1000 ft²" in text and "light air" in text
    assert "Per area" in text and "Note the label's limit" in text
    # The picture of the ground, four plots over time, one pass.
    assert html.count("<svg") == 1 + 4 + 1
    assert html.count("<summary>Rate in bins of") == 1


def test_a_page_of_hundreds_of_passes_has_the_first_forty_plots(folder):
    document = run_document(Library(folder).review(folder / "a.sward"), "us")
    along = document.section(ALONG)
    (plot,) = [block for block in along.blocks if isinstance(block, Plot)]
    many = replace(along, blocks=tuple(replace(plot, title=f"Pass {number}") for number in range(1, 301)))
    html = format_report(replace(document, sections=(many,)), DAY)
    assert html.count("<svg") == 40
    assert "260 more plots" in html


@pytest.mark.parametrize("payload", PAYLOADS)
def test_no_cell_of_a_spreadsheet_is_a_formula(folder, payload):
    entry = Library(folder).entries()[-1]
    nasty = replace(
        entry.digest, site=payload, product=payload, rig=payload, notes={"weather": payload, payload: payload}
    )
    text = format_csv(runs_table([replace(entry, digest=nasty)], folder, "us"))
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == 1
    for cell in rows[0].values():
        if cell.startswith(("=", "+", "-", "@", "\t", "\r", " ", "\u200b", "\ufeff")):
            float(cell)  # only a number may begin with a sign
    assert rows[0]["site"] == text_cell(payload) == "'" + visible(payload)


def test_the_runs_of_a_season_read_back_in_pandas(folder):
    entries = Library(folder).entries()
    text = format_csv(runs_table(entries, folder, "metric"))
    table = pd.read_csv(io.StringIO(text, newline=""))
    assert table["run"].tolist() == ["b", "a", "c"]
    assert table["volume_L"].tolist() == pytest.approx([e.digest.volume_m3 * 1000 for e in entries])
    # 20 mL of product in each litre.
    assert table["product_per_area_mL_per_100_m2"][1] == pytest.approx(20 * table["rate_L_per_100_m2"][1])
    assert pd.isna(table["product_per_area_mL_per_100_m2"][0])
    assert format_csv(runs_table([], folder, "metric")).startswith("run,path,")


def test_one_query_over_the_runs_of_many_rigs(folder, tmp_path):
    # Two crews write into one dataset, one of them twice.
    for name in ("bowling", "crew", "crew"):
        assert main(["dataset", "--out", str(tmp_path / "all"), "--runs", str(folder), "--rig-name", name]) == 0
    digests = [entry.digest for entry in Library(folder).entries()]
    found = duckdb.sql(
        f"SELECT rig, year(started_utc), count(*), sum(volume_m3) FROM '{tmp_path}/all/runs/*.parquet' "
        "GROUP BY ALL ORDER BY ALL"
    ).fetchall()
    assert [row[:3] for row in found] == [
        ("Harrow Lea bowling green boom", 2025, 1),
        ("Harrow Lea bowling green boom", 2026, 1),
        ("Second crew's boom", 2026, 1),
    ]
    assert sum(row[3] for row in found) == pytest.approx(sum(one.volume_m3 for one in digests))
    passes = pd.read_parquet(tmp_path / "all" / "passes")
    assert sorted(passes["run"]) == ["a", "b", "c"]
    assert passes["rate_m3_m2"].tolist() == pytest.approx([digests[0].rate_m3_m2] * 3, rel=0.02)
    assert duckdb.sql(f"SELECT max(started_utc) FROM '{tmp_path}/all/passes/*.parquet'").fetchall() == [(DAY,)]


def test_the_commands(folder, tmp_path, capsys):
    out = tmp_path / "a.html"
    assert main(["report", "a", "--runs", str(folder), "--out", str(out)]) == 0
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert main(["report", "a", "--runs", str(folder), "--out", str(out)]) == 2
    season = ["season", "--runs", str(folder), "--out", str(tmp_path / "s.html"), "--out", str(tmp_path / "s.csv")]
    assert main(season) == 0
    assert len((tmp_path / "s.csv").read_bytes().split(b"\r\n")) == 5
    assert "Second crew" in (tmp_path / "s.html").read_text(encoding="utf-8")
    assert main(season) == 2
    assert "exists already" in capsys.readouterr().err
