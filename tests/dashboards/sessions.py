"""Sessions of the servers under test, for urllib, WebSockets and browsers: each server lets this process in once."""

from __future__ import annotations

import http.cookiejar
import re
import urllib.request
from typing import Any
from weakref import WeakSet

OWN_LINK = re.compile(r"(http://127\.0\.0\.1:(\d+)/\?key=[0-9A-Z]{26})\s")
JAR = http.cookiejar.CookieJar()
urllib.request.install_opener(urllib.request.build_opener(urllib.request.HTTPCookieProcessor(JAR)))
_contexts: WeakSet[Any] = WeakSet()


def cookies() -> dict[str, str]:
    """Every session that is known; the name of its cookie has the port."""
    return {one.name: str(one.value) for one in JAR}


def cookie_header() -> dict[str, str]:
    """The header that a browser with all the sessions sends."""
    return {"Cookie": "; ".join(f"{name}={value}" for name, value in cookies().items())}


def let_in(port: int, said: str) -> bool:
    """Whether this process has a session of the server on `port`, which printed `said`; open one where it has none."""
    if f"swardflow-{port}" not in cookies():
        links = [found[1] for found in OWN_LINK.finditer(said) if int(found[2]) == port]
        if not links:
            return False
        with urllib.request.urlopen(links[-1], timeout=10):
            pass
        for context in list(_contexts):
            give(context)
    return f"swardflow-{port}" in cookies()


def download(address: str) -> bytes:
    """What the server sends this process, which it has let in."""
    with urllib.request.urlopen(address, timeout=30) as answer:
        return bytes(answer.read())


def give(context: Any) -> Any:
    """Give a browser's context the sessions, now and when there are more."""
    if context not in _contexts:
        _contexts.add(context)
        context.on("close", _contexts.discard)
    context.add_cookies(
        [
            {"name": name, "value": value, "domain": "127.0.0.1", "path": "/", "httpOnly": True, "sameSite": "Strict"}
            for name, value in cookies().items()
        ]
    )
    return context


class LetIn:
    """A browser of Playwright's whose contexts have the sessions."""

    def __init__(self, browser: Any) -> None:
        self._browser = browser

    def __getattr__(self, name: str) -> Any:
        return getattr(self._browser, name)

    def new_context(self, **options: Any) -> Any:
        return give(self._browser.new_context(**options))

    def new_stranger(self, **options: Any) -> Any:
        """A context without a session."""
        return self._browser.new_context(**options)
