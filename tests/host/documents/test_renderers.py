"""One document on the terminal, on a page, in print and as JSON."""

import json
import math
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest

from dashboards.ui.document_view import document_view
from host.documents.document import (
    Column,
    Document,
    Fact,
    Facts,
    Message,
    Messages,
    Plot,
    Quantity,
    Section,
    Series,
    Table,
    column,
    duration,
    quantity,
)
from host.documents.html import format_html
from host.documents.json import to_json
from host.documents.svg import format_svg, ticks
from host.documents.text import format_text
from host.documents.words import sentence
from host.units import GALLON_M3
from tests.host.documents.faces import assert_all_faces_say_the_same

NASTY = '<script>alert(1)</script><img src=x onerror="alert(2)">&\'"{{ 7 * 7 }}\x1b[2J\u202eabc\udcff'
RATE = GALLON_M3 / (1000 * 0.3048**2)  # 1 gal/1000 ft²; 1 ft is 0.3048 m exactly (NIST Handbook 44, Appendix C)

PLOT = Plot(
    "rates",
    "Rate along pass 1",
    "From the start, ft",
    "Rate, gal/1000 ft²",
    (
        Series(((0.0, 1.0), (1.0, math.nan), (2.0, 1.1), (3.0, 1.2)), "rate", "steps"),
        Series(((0.0, 1.0),), "mean", "dots", (0.1,)),
    ),
    band=(0.9, 1.1),
    lanes=((1.0, 2.0),),
    levels=((1.0, "target"),),
    marks=((1.0, "A <b>"), (1.0, "B")),
)
DOCUMENT = Document(
    "sample",
    f"Sample of {NASTY}",
    "On target.",
    (
        Section(
            "",
            "",
            (
                Facts(
                    (
                        Fact("rate", "Rate", quantity(RATE, "rate", "us", expanded_si=0.05 * RATE)),
                        Fact("pressure", "Pressure", quantity(None, "pressure", "us")),
                        Fact("note", "Note", NASTY),
                        Fact("frames", "", 7007),
                        Fact("", "For people", "only here"),
                    )
                ),
            ),
        ),
        Section(
            "detail",
            "Detail",
            (
                Table(
                    "passes",
                    (Column("pass", "Pass"), column("rate", "Rate", "rate", "us"), Column("inner", "")),
                    (
                        (1, quantity(RATE, "rate", "us", expanded_si=0.1 * RATE), 17.5),
                        (2, quantity(2 * RATE, "rate", "us"), math.nan),
                    ),
                    marked=frozenset({1}),
                ),
                Messages((Message("First this.", "advice"), Message("Then that.", "warning", "that")), ordered=True),
                PLOT,
                Table("none", (Column("a", "A"),), (), empty="Nothing to list."),
            ),
            folded=True,
        ),
        Section(
            "faults",
            "Faults",
            (Messages((Message("Held against the catch test.", "stop"),), "basis"),),
            sections=(
                Section("", "Nozzle clogged", (Facts((Fact("cause", "Cause", "clog"),)),), level="warning"),
                Section("", "Meter reads low", (Facts((Fact("cause", "Cause", "meter_low"),)),)),
            ),
            listed=True,
        ),
    ),
)


def test_every_rendering_holds_every_heading_fact_cell_and_message():
    assert_all_faces_say_the_same(DOCUMENT)


def test_keys_of_quantities_carry_their_unit_and_the_uncertainty_its_own_key():
    out = json.loads(json.dumps(to_json(DOCUMENT), allow_nan=False))
    assert out["kind"] == "sample"
    assert out["rate_gal_per_1000_ft2"] == pytest.approx(1.0)
    assert out["rate_expanded_uncertainty_gal_per_1000_ft2"] == pytest.approx(0.05)
    assert out["pressure_psi"] is None
    assert out["frames"] == 7007
    assert "only here" not in json.dumps(out)
    assert [sorted(row) for row in out["detail"]["passes"]] == [
        ["inner", "pass", "rate_expanded_uncertainty_gal_per_1000_ft2", "rate_gal_per_1000_ft2"],
        ["inner", "pass", "rate_gal_per_1000_ft2"],
    ]
    assert out["detail"]["passes"][1]["inner"] is None
    assert out["detail"]["messages"][1] == {"kind": "that", "level": "warning", "text": "Then that."}
    assert out["faults"] == [{"cause": "clog"}, {"cause": "meter_low"}]
    assert out["basis"][0]["level"] == "stop"


@pytest.mark.parametrize(
    "blocks",
    [
        (Facts((Fact("rate", "Rate", 1), Fact("rate", "Rate of something else", 2))),),
        (Facts((Fact("a", "A", 1),), "group"), Table("group", (), ())),
        (Facts((Fact("kind", "Kind", "x"),)),),
        (Table("t", (Column("a", "A"), Column("a", "B")), ((1, 2),)),),
        (Facts((Fact("rate", "", Quantity("1", 1.0, "", "m")), Fact("rate_m", "", 1.0))),),
        (Facts((Fact("messages", "", 1),)), Messages((Message("x"),))),
    ],
)
def test_no_key_means_two_things(blocks):
    with pytest.raises(ValueError, match="two values have the JSON key"):
        to_json(Document("k", "t", "a", (Section("", "", blocks),)))


def test_messages_under_one_key_are_one_list():
    first, rest = Messages((Message("a"),), "said"), Messages((Message("b"),), "said", "1 more", folded=True)
    out = to_json(Document("k", "t", "a", (Section("", "", (first,)), Section("", "", (rest,)))))
    assert [message["text"] for message in out["said"]] == ["a", "b"]


def test_the_terminal_aligns_labels_and_numbers_and_says_the_unit_once():
    lines = format_text(DOCUMENT, everything=True).splitlines()
    assert "Rate        1.00 ± 0.05 gal/1000 ft²" in lines
    assert "Pressure    – psi" in lines
    assert "  Pass  Rate, gal/1000 ft²" in lines
    assert "     1         1.00 ± 0.10" in lines
    assert "     2                2.00  !" in lines, "a marked row"
    assert "  2. Then that." in lines
    assert "  ! Nozzle clogged" in lines
    assert "Detail" not in format_text(DOCUMENT), "what is folded is left out unless asked for"


def test_the_terminal_shows_control_characters_and_breaks_lines():
    text = format_text(DOCUMENT, 40)
    assert "\\x1b[2J\\u202eabc\\udcff" in text
    assert text.replace("\n", "").isprintable()
    long = Document("k", "t", "word " * 30, ())
    assert max(map(len, format_text(long, 40).splitlines())) <= 40
    text.encode("utf-8")


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.attributes = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]


def test_the_printed_page_runs_nothing_and_loads_nothing():
    html = format_html(DOCUMENT)
    page = Tags()
    page.feed(html)
    assert not {"script", "img", "link", "iframe", "object", "a"} & set(page.tags)
    assert not [name for name in page.attributes if name.startswith("on") or name in ("src", "href", "xlink:href")]
    assert "default-src 'none'" in html
    assert "url(" not in html and "@import" not in html
    assert "{{ 7 * 7 }}" in html
    html.encode("utf-8")
    assert html.count("<details>") == 1 and html.count('class="marked"') == 1
    (svg,) = re.findall(r"<svg.*?</svg>", html, re.DOTALL)
    ET.fromstring(svg)
    assert '<a href="/runs">To the runs</a>' in format_html(DOCUMENT, [("/runs", "To the runs")])


def test_plots_leave_gaps_and_survive_anything():
    root = ET.fromstring(format_svg(PLOT))
    assert [one.get("class") for one in root if one.tag == "path"].count("line s0") == 1
    assert [one.text for one in root if one.get("class") == "mark" and one.tag == "text"] == ["A <b>", "B"]
    empty = Plot("k", "t", "x", "y", (Series(((0.0, math.nan),)),))
    assert format_svg(empty) == ""
    assert document_view(Document("k", "t", "a", (Section("", "", (empty,)),)))[1].children == []
    single = Plot("k", "t", "x", "y", (Series(((5.0, 5.0),)), Series(((5.0, 2.0),), style="bars")))
    ET.fromstring(format_svg(single))
    days = Plot("k", "t", "Day", "y", (Series(((739000.0, 1.0), (739100.0, 2.0)), style="dots"),), x_days=True)
    assert ">2024-" in format_svg(days)
    assert ticks(0.0, 1.0) == [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]
    assert ticks(-3.0, 47.0) == [0.0, 10.0, 20.0, 30.0, 40.0]


def test_a_section_for_machines_alone_is_seen_by_no_one():
    events = Section("events", "Events", (Table("list", (Column("at_s", ""),), ((1.0,),)),))
    document = Document("k", "t", "a", (events,))
    assert to_json(document)["events"] == {"list": [{"at_s": 1.0}]}
    assert format_text(document) == "t\na"
    assert "Events" not in format_html(document)
    assert len(document_view(document)) == 1


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.0, "0.0 s"), (59.96, "1 min 00.0 s"), (291.5, "4 min 51.5 s"), (3600.0, "60 min 00.0 s")]
)
def test_a_duration_as_people_say_it(seconds, said):
    assert duration(seconds) == Quantity(said, seconds, "", "s")
    assert duration(math.nan).value is None


def test_an_uncertainty_is_never_shown_as_zero():
    litre = 1e-3
    assert quantity(2.43 * litre, "volume", "metric", expanded_si=0.03 * litre).text == "2.43 ± 0.03 L"
    assert quantity(2.43 * litre, "volume", "metric", expanded_si=0.3 * litre).text == "2.4 ± 0.3 L"
    assert quantity(2.43 * litre, "volume", "metric", expanded_si=0.0).text == "2.4 ± 0.0 L"
    assert quantity(math.inf, "volume", "metric", expanded_si=1.0) == Quantity("–", None, "L", "L")


def test_a_large_uncertainty_is_grouped_as_its_number_is():
    """1 ft2 = 0.09290304 m2: NIST Handbook 44, Appendix C."""
    feet = 0.3048**2
    assert quantity(60_535 * feet, "area", "us", expanded_si=1_713 * feet).text == "60,535 ± 1,713 ft²"


@pytest.mark.parametrize("name", ["runs/a.sward", "a.sward: cut short", "C:\\runs\\a.sward is empty"])
def test_a_file_is_written_as_it_is_called(name):
    assert sentence(name).startswith(name)
    assert sentence("the file " + name).startswith("The file")
