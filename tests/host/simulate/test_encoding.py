"""Reports written many at a time are those written one at a time."""

import numpy as np

from firmware_protocol.messages import REPORT_FIELDS, Report, encode_report
from firmware_protocol.vectorized import REPORT_DTYPE
from host.simulate.encoding import encode_reports


def test_lines_are_those_of_the_codec_for_any_field_values() -> None:
    rng = np.random.default_rng(1)
    reports = np.zeros(500, dtype=REPORT_DTYPE)
    for name, digits in REPORT_FIELDS:
        reports[name] = rng.integers(0, 16**digits, 500)
        reports[name][:2] = 0, 16**digits - 1
    assert encode_reports(reports) == [encode_report(Report(*row)) for row in reports.tolist()]


def test_no_reports_give_no_lines() -> None:
    assert encode_reports(np.zeros(0, dtype=REPORT_DTYPE)) == []
