"""The port of the pages: who holds it is named, and another Swardflow hands it over."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from host.cli import page_port
from host.cli.page_port import channel_of, free_port, take_over
from host.errors import BadInputError, NoAnswerError, NotNowError
from host.recorder.control import ControlServer, socket_path

ELSEWHERE = os.getpid() + 1


class OtherSwardflow:
    """Serves "pages" on a port and answers for it, as `swardflow open` does; `run` is what it records."""

    def __init__(self, run: str | None = None) -> None:
        self.asked: list[Any] = []
        self.run, self.stays = run, False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._channels = [ControlServer(channel_of(self.port), self.answer)]
        if run:
            self._channels.append(ControlServer(socket_path(Path(run)), self.answer))
        self.over = False

    def answer(self, request: dict[str, Any]) -> dict[str, Any]:
        if request["ask"] == "stop":
            self.asked.append(request.get("reason", "the pages"))
            self.over = "reason" not in request and not self.stays
        return {"pid": os.getpid() if self.over else ELSEWHERE, "run": self.run}  # its own number: nobody else's

    def close(self) -> None:
        self._listener.close()
        for channel in self._channels:
            channel.close()


@pytest.fixture
def other(tmp_path: Path) -> Iterator[OtherSwardflow]:
    made = OtherSwardflow(str(tmp_path / "a.sward"))
    yield made
    made.close()


def test_the_process_and_its_run_are_named(other: OtherSwardflow) -> None:
    with pytest.raises(NotNowError) as told:
        free_port(other.port, shared=False)
    assert f"process {ELSEWHERE}, another Swardflow, records {other.run}" in str(told.value)
    assert "--take-over" in str(told.value) and "--http-port" in str(told.value)


def test_a_stranger_on_the_port_is_named_as_far_as_the_system_tells() -> None:
    with socket.create_server(("127.0.0.1", 0)) as stranger, pytest.raises(NotNowError) as told:
        free_port(stranger.getsockname()[1], shared=True)
    assert f"process {os.getpid()} (" in str(told.value) or "another program uses it" in str(told.value)
    assert "--take-over" not in str(told.value), "a stranger's program is not ended"


def test_a_free_port_is_had_and_an_absurd_one_refused() -> None:
    assert free_port(0, shared=False) > 0
    with pytest.raises(BadInputError):
        free_port(70_000, shared=False)


def test_taking_over_ends_the_run_first_and_then_the_pages(other: OtherSwardflow) -> None:
    take_over(other.port)
    assert other.asked == [page_port.TAKEN_OVER, "the pages"]


def test_taking_over_nothing_does_nothing() -> None:
    with socket.create_server(("127.0.0.1", 0)) as stranger:
        take_over(stranger.getsockname()[1])


def test_one_that_does_not_end_is_told_with_its_process(other: OtherSwardflow) -> None:
    other.stays = True
    times = iter((0.0, 1.0, 31.0))
    with pytest.raises(NoAnswerError, match=f"end process {ELSEWHERE}"):
        take_over(other.port, lambda: next(times), lambda _: None)
