"""What the pages ask of the process that starts recorders, and what it takes for a request."""

from __future__ import annotations

from typing import Any

import pytest

from host.errors import BadInputError
from host.recorder.supervision import RunRequest, request_from

WHOLE = RunRequest("/dev/board", "my.toml", "20 gal", "mix.toml", {"area": "Lower green", "a=b": "c"})


def test_a_request_arrives_as_it_was_sent() -> None:
    assert request_from(WHOLE.to_json()) == RunRequest(
        "/dev/board", "my.toml", "20 gal", "mix.toml", {"area": "Lower green", "a b": "c"}
    )
    assert request_from({"port": "p", "rig": "r"}) == RunRequest("p", "r")


def test_a_request_becomes_the_arguments_of_record() -> None:
    options = ["--rig=my.toml", "--tank=20 gal", "--sheet=mix.toml", "--note=area=Lower green", "--note=a=b=c"]
    assert WHOLE.arguments() == [*options, "--port=/dev/board"]
    assert RunRequest("-p", "r").arguments() == ["--rig=r", "--port=-p"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"notes": []},
        {"notes": "x"},
        {"notes": {"a": 1}},
        {"tank": 5},
        {"mix": None},
        {"port": ""},
        {"rig": ""},
        {"port": []},
    ],
)
def test_what_is_no_request_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(BadInputError, match="a run"):
        request_from(WHOLE.to_json() | wrong)
