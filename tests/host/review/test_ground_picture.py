"""The picture of the ground, against the simulator's truth and the verdict's own shares of the ground."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from host.documents.document import GroundPicture, PictureMark, PictureStrip
from host.documents.ground_svg import describe_ground, format_ground, format_small_ground, marks_in_words
from host.journal import RunFile
from host.review.digest import digest_from_json, digest_of, digest_to_json
from host.review.ground_picture import ground_picture, small_ground
from host.review.review import review_of, review_run
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

RECORDINGS = Path(__file__).parents[3] / "recordings"
RUN = RECORDINGS / "2026-05-14T0915-harrow-lea-pleasure-grounds.sward"


@pytest.fixture(scope="module")
def review():
    return review_run(RUN)


@pytest.fixture(scope="module")
def picture(review):
    return ground_picture(review, review.strips, "metric")


def shares(picture: GroundPicture) -> dict[int | None, float]:
    whole = sum(strip.length for strip in picture.strips)
    found: dict[int | None, float] = {}
    for strip in picture.strips:
        for begin, end, level in strip.bands:
            found[level] = found.get(level, 0.0) + (end - begin) / whole
    return found


def test_each_strip_is_covered_from_end_to_end(picture):
    for strip in picture.strips:
        assert strip.bands[0][0] == 0.0
        assert strip.bands[-1][1] == pytest.approx(strip.length)
        assert all(before[1] == after[0] for before, after in zip(strip.bands, strip.bands[1:], strict=False))


def test_its_shares_are_those_of_the_verdict(review, picture):
    drawn = shares(picture)
    # What is hatched at the start of each pass is in the verdict under one of the others: 2 % of this ground.
    assert drawn[-2] + drawn[-1] == pytest.approx(review.verdict.under, abs=0.02)
    assert drawn[0] == pytest.approx(review.verdict.on, abs=0.03)
    assert 1 not in drawn and 2 not in drawn


def test_the_clog_stands_where_the_nozzle_clogged(review, picture):
    """The simulator knows when the nozzle clogged; at that pass's own speed this is a place."""
    truth = json.loads(RUN.with_suffix(".truth.json").read_text())
    clog = next(event for event in truth["disturbances"] if event["kind"] == "clog")
    third = truth["passes"][2]
    place = (clog["begin_s"] - third["begin_s"]) * third["speed_m_s"]
    (mark,) = picture.strips[2].marks
    assert mark.at == pytest.approx(place, abs=0.6)
    level = next(level for begin, end, level in picture.strips[2].bands if begin <= mark.at + 2.0 < end)
    assert level is not None and level < 0


@pytest.mark.parametrize("name", ["dropped-pulses", "restart"])
def test_what_is_not_known_is_hatched(name):
    (path,) = (RECORDINGS / "edges").glob(f"*{name}*.sward")
    review = review_run(path)
    drawn = ground_picture(review, review.strips, "metric")
    assert drawn is not None
    for strip, a_pass in zip(drawn.strips, review.passes, strict=True):
        if any(one.start_s < a_pass.end_s and one.end_s > a_pass.start_s for one in review.unassigned):
            inner = [(begin, end) for begin, end, level in strip.bands if level is None and end > 1.0]
            assert inner, f"pass {strip.number} of {name}"


def test_a_run_without_a_pass_has_no_picture(review):
    from dataclasses import replace

    assert ground_picture(replace(review, passes=[]), [], "us") is None


def test_the_small_picture_has_the_shares_of_the_large_one_where_something_is_known(review, picture):
    small = small_ground(review)
    assert len(small) == 7 and max(strip[-1][1] for strip in small) == pytest.approx(1.0, abs=0.001)
    lengths = dict.fromkeys((-2, -1, 0), 0.0)
    for strip in small:
        for begin, end, level in strip:
            if level is not None:
                lengths[level] += end - begin
    whole = sum(lengths.values())
    assert lengths[0] / whole == pytest.approx(review.verdict.on, abs=0.03)
    kept = digest_from_json(json.loads(json.dumps(digest_to_json(digest_of(review)))))
    assert kept.ground == small
    ElementTree.fromstring(format_small_ground(kept.ground))


def test_ground_that_got_nothing_is_drawn_as_under():
    """A tank that runs empty in the second pass: three fifths of it, and the whole third one, with the spray on."""
    wet, turn, dry = (20, 40.0, 10.0, True), (6, 0.0, 5.0, False), (0.0, 10.0, True)
    parts = (wet, turn, (8, *wet[1:]), (12, *dry), turn, (20, *dry), turn)
    columns = [np.concatenate([np.full(round(10 * part[0]), part[of]) for part in parts]) for of in (1, 2, 3)]
    frames = made_frames(*columns[:2], columns[2].astype(bool))
    reading = np.where((columns[0] > 0) | ~columns[2].astype(bool), 327.68, 103.0)
    frames["pressure_mean"] = np.rint(16 * reading)
    frames["pressure_min"] = np.rint(reading)
    frames["pressure_max"] = frames["pressure_min"] + 1
    review = review_of(RunFile(Path("run.sward"), frames=frames, events=[IDENTITY]), rig_from_toml(RIG))
    drawn = ground_picture(review, review.strips, "metric")
    assert drawn is not None and review.verdict is not None
    assert [strip.number for strip in drawn.strips] == [1, 2, None]
    assert [strip.length for strip in drawn.strips] == pytest.approx([20, 20, 20], abs=0.5)
    lengths = [end - begin for strip in drawn.strips for begin, end, level in strip.bands if level == -2]
    assert sum(lengths) == pytest.approx(32, abs=0.5)
    assert sum(lengths) / sum(strip.length for strip in drawn.strips) == pytest.approx(review.verdict.dry, abs=0.02)
    assert small_ground(review)[2][0][2] == -2


HOSTILE = '"><script>alert(1)</script>\u202e'


def test_it_is_well_formed_and_nothing_typed_can_run():
    strip = PictureStrip(1, 10.0, ((0.0, 10.0, 0),), (PictureMark(4.0, HOSTILE, HOSTILE),))
    svg = format_ground(GroundPicture("ground", HOSTILE, HOSTILE, 1.0, (strip, strip)))
    root = ElementTree.fromstring(svg)
    assert {element.tag.rpartition("}")[2] for element in root.iter()} <= {
        *("svg", "title", "style", "defs", "pattern", "path", "rect", "text")
    }
    assert "\u202e" not in svg


def test_every_other_pass_is_drawn_turned_about():
    """A turn flips it: the start of the second pass lies where the first one ended."""
    strip = PictureStrip(1, 10.0, ((0.0, 2.0, -1), (2.0, 10.0, 0)))
    root = ElementTree.fromstring(format_ground(GroundPicture("ground", "", "m", 1.0, (strip, strip))))
    under = [element for element in root.iter() if element.get("class") == "l1" and element.get("height") != "12.0"]
    assert [float(element.get("x", "0")) for element in under] == pytest.approx([30.0, 286.0])


def test_words_say_what_is_seen(picture):
    assert describe_ground(picture).startswith("What the ground got: 7 passes, far under")
    assert marks_in_words(picture) == ["1: nozzle clogged, about 1.0 nozzles' worth, pass 3, 9 m from its start"]
