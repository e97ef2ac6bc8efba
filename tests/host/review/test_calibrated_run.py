"""A run in which somebody calibrated: what the review and the list of runs say of it."""

from pathlib import Path

import numpy as np

from host.documents.json import to_json
from host.documents.text import format_text
from host.events import CALIBRATION
from host.frames import Event
from host.journal import RunFile
from host.library.runs_document import rate_words, signs
from host.review.digest import digest_of
from host.review.review import review_of
from host.review.run_document import run_document
from host.rig import rig_from_toml
from tests.host.pipeline.made import IDENTITY, RIG, made_frames

REST, CATCH = np.zeros(50), np.ones(400)


def reviewed(*events):
    """At rest, and forty seconds of water into a jug."""
    sprays = np.concatenate((REST, CATCH, REST))
    frames = made_frames(40.0 * sprays, 0.0 * sprays, sprays > 0)
    frames["pressure_mean"] = frames["pressure_mean"].astype(int) + np.random.default_rng(91).integers(
        -30, 31, len(frames)
    )
    frames["pressure_min"], frames["pressure_max"] = frames["pressure_min"] - 4, frames["pressure_max"] + 4
    return review_of(RunFile(Path("r.sward"), frames=frames, events=[IDENTITY, *events]), rig_from_toml(RIG))


def test_a_run_that_only_served_a_calibration_says_so():
    review = reviewed(Event(5.0, 50, CALIBRATION, {"text": "meter"}))
    document = run_document(review, "metric")
    assert document.answer == "A calibration: nothing was sprayed on the move."
    text = " ".join(format_text(document).split())
    assert "a calibration of the flow meter. What was sprayed standing still was for it" in text
    assert not review.faults and to_json(document)["totals"]["stationary_volume_L"] > 2.0
    digest = digest_of(review)
    assert rate_words(digest, "metric") == "a calibration: nothing sprayed on the move"
    assert not [sign for sign in signs(digest) if "fault" in sign]


def test_without_a_word_of_it_the_same_run_is_one_with_a_dead_wheel():
    review = reviewed()
    assert review.faults and "calibration:" not in run_document(review, "metric").answer
