"""The newest message wins, and its age is told."""

from __future__ import annotations

import asyncio
import json
import threading
from typing import Any

from dashboards.live.broadcaster import Broadcaster


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_age_counts_from_the_reading_not_from_the_publishing() -> None:
    clock = Clock()
    newest = Broadcaster(clock, boot="b")
    newest.publish({"frame": 1}, [], read_at=99.5)
    clock.now = 101.0
    assert json.loads(newest.message(with_trace=False)) == {"boot": "b", "seq": 1, "age_ms": 1500, "row": {"frame": 1}}


def test_before_any_number_there_is_no_age() -> None:
    newest = Broadcaster(boot="b")
    assert json.loads(newest.message(with_trace=True)) == {
        "boot": "b",
        "seq": 0,
        "age_ms": None,
        "row": {},
        "trace": [],
    }


def test_a_message_that_stands_for_several_reports_counts_as_so_many() -> None:
    # A screen that is given only the last of ten reports has missed nine, and is to be sent the trace anew.
    newest = Broadcaster(boot="b")
    newest.publish({}, [], 0.0)
    newest.publish({}, [], 0.0, reports=10)
    assert json.loads(newest.message(with_trace=False))["seq"] == 11


def test_two_starts_of_the_server_can_be_told_apart() -> None:
    assert Broadcaster().boot != Broadcaster().boot


def test_a_slow_screen_gets_the_newest_only() -> None:
    newest = Broadcaster(boot="b")

    async def screen() -> list[Any]:
        mailbox = newest.open_mailbox()
        await mailbox.wait(1.0)
        seen = [json.loads(newest.message(False))["seq"]]
        publishing = threading.Thread(target=lambda: [newest.publish({"frame": n}, [], 0.0) for n in range(50)])
        publishing.start()
        await asyncio.to_thread(publishing.join)
        await mailbox.wait(1.0)
        seen.append(json.loads(newest.message(False))["seq"])
        await mailbox.wait(0.01)  # nothing newer: this only ends by its time
        newest.close_mailbox(mailbox)
        return seen

    assert asyncio.run(screen()) == [0, 50]
    assert newest.screens == 0


def test_publishing_after_the_server_has_gone_hurts_nobody() -> None:
    newest = Broadcaster()

    async def screen() -> None:
        newest.open_mailbox()

    asyncio.run(screen())
    newest.publish({}, [], None)
