"""A page server that is shared, and requests to it with every byte under control."""

from __future__ import annotations

import http.client
import json
import re
import time
import urllib.parse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dashboards.sharing.addresses import network_addresses
from tests.dashboards.processes import PATIENCE_S, Process, free_port, wait_until
from tests.dashboards.sessions import cookies

LINK = re.compile(r"http://(\S+?):(\d+)/\?key=([0-9A-Z]{26})\s")
CODE = re.compile(r"type the code: ([0-9A-Z]{4})-([0-9A-Z]{4})\s")


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    body: bytes
    headers: http.client.HTTPMessage

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def cookie(self) -> str:
        """What a browser sends back."""
        return self.headers["set-cookie"].split(";")[0]


def ask(
    at: str,
    path: str = "/",
    *,
    method: str = "GET",
    body: Any = None,
    source: str | None = None,
    headers: dict[str, str] | None = None,
) -> Answer:
    """One request to "host:port", from the address `source` if given; Host and Origin as a browser sends them."""
    host, port = at.split(":")
    session = cookies().get(f"swardflow-{port}")
    own = {"Host": at} | ({"Cookie": f"swardflow-{port}={session}"} if session else {})
    own |= ({"Origin": f"http://{at}"} if method == "POST" else {}) | (headers or {})
    connection = http.client.HTTPConnection(
        host, int(port), timeout=PATIENCE_S, source_address=(source, 0) if source else None
    )
    try:
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        if isinstance(body, bytes):
            own = {"Content-Length": str(len(body))} | own
        for name, value in own.items():
            connection.putheader(name, value)
        connection.endheaders(body)
        answer = connection.getresponse()
        return Answer(answer.status, answer.read(), answer.headers)
    finally:
        connection.close()


def ask_patiently(at: str, path: str = "/", **how: Any) -> Answer:
    """The same; who is told to wait, waits as long as the server says. For a client whose allowance others used up."""
    while (answer := ask(at, path, **how)).status == 429:
        time.sleep(int(answer.headers["retry-after"]))
    return answer


class SharedServer(Process):
    """`python -m dashboards --share`; what it shows goes into its log, where there is no QR code."""

    def __init__(self, runs: Path, log: Path, *arguments: str, sessions: Path | None = None, port: int | None = None):
        self.port = port or free_port()
        self.here = f"127.0.0.1:{self.port}"
        addresses = network_addresses()
        self.there = f"{addresses[0] if addresses else '127.0.0.9'}:{self.port}"
        command = ["-m", "dashboards", "--runs", str(runs), "--http-port", str(self.port), "--share", *arguments]
        super().__init__([*command, "--sessions", str(sessions)] if sessions else command, log)
        self._seen = log.stat().st_size
        self.wait_ready(self._answers, "the shared server answers")

    def link(self, of: str) -> str:
        """The link that holds now at "127.0.0.1" or the address in the network, once it has been shown."""
        host = of.split(":", maxsplit=1)[0]

        def last() -> str:
            links = [
                f"http://{one[1]}:{one[2]}/?key={one[3]}" for one in LINK.finditer(self.output()) if one[1] == host
            ]
            return links[-1] if links else ""

        return str(wait_until(last, f"a link of {host}"))

    def key(self, of: str) -> str:
        """The secret in the link that holds now."""
        return self.link(of).rpartition("=")[2]

    def code(self) -> str:
        """The code to type that holds now."""
        return "".join(CODE.findall(self.output())[-1])

    def let_in(self, at: str) -> str:
        """Use the link of that place up; the cookie."""
        return self.use(at, self.key(at)).cookie

    def use(self, at: str, key: str, path: str = "/", source: str | None = None) -> Answer:
        """The answer to the link that is shown; once the next one is shown."""
        shown = self.link(at)
        answer = ask_patiently(at, f"{path}?key={key}", source=source)
        assert answer.status == 303, answer.text
        wait_until(lambda: self.link(at) != shown, "the next link is shown")
        return answer

    def type_code(
        self, at: str, code: str, name: str = "", source: str | None = None, asks: Callable[..., Answer] = ask
    ) -> Answer:
        """The answer to a code that somebody typed."""
        form = urllib.parse.urlencode({"code": code, "name": name}).encode()
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return asks(at, "/enter", method="POST", body=form, headers=kind, source=source)

    def newest(self, at: str, cookie: str) -> dict[str, Any]:
        answer = ask(at, "/live/newest", headers={"Cookie": cookie})
        assert answer.status == 200, answer.text
        return dict(json.loads(answer.body))

    def _answers(self) -> bool:
        assert self.child.poll() is None, self.output()
        try:
            return ask(self.here).status == 403 and bool(LINK.search(self.output()))
        except OSError:
            time.sleep(0.1)
            return False
