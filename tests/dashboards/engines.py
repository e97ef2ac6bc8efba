"""The three browsers that phones have, of a phone's size, behind one interface (see screen.py).

Chromium by Playwright; Firefox by WebDriver BiDi (W3C Working Draft); WebKit by WebDriver (W3C Recommendation), in
WebKitGTK's own small browser, which needs a screen: Xvfb is one.
"""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from tests.dashboards.processes import free_port, wait_until
from tests.dashboards.sessions import cookies

WIDTH, HEIGHT = 360, 740
GONE = ("context was destroyed", "no such frame", "no such window", "Cannot find context", "navigation")
# Nothing outside this computer is asked for.
_QUIET = (
    '"network.proxy.type", 1',
    '"network.proxy.http", "127.0.0.1"',
    '"network.proxy.http_port", 9',
    '"network.proxy.ssl", "127.0.0.1"',
    '"network.proxy.ssl_port", 9',
    '"app.normandy.enabled", false',
    '"datareporting.policy.dataSubmissionEnabled", false',
)
_ALL, _CONTROL, _ENTER = "a", "\ue009", "\ue007"  # WebDriver, "Keyboard actions"


def _called(function: str, arguments: tuple[Any, ...]) -> str:
    return f"JSON.stringify((({function}))({', '.join(json.dumps(one) for one in arguments)}) ?? null)"


class Chromium:
    """A page of Playwright's."""

    name = "Chromium"

    def __init__(self, page: Any) -> None:
        self.page = page

    def goto(self, address: str) -> None:
        self.page.goto(address)

    def evaluate(self, function: str, *arguments: Any) -> Any:
        from playwright.sync_api import Error

        try:
            return json.loads(self.page.evaluate(_called(function, arguments)))
        except Error as error:
            return _nothing_if_gone(error)

    def click(self, x: int, y: int) -> None:
        self.page.mouse.click(x, y)

    def keys(self, text: str) -> None:
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)

    def picture(self) -> bytes:
        return bytes(self.page.screenshot())

    def printed(self) -> bytes | None:
        return bytes(self.page.pdf())

    def close(self) -> None:
        """Its context is closed by whoever opened it."""


class Firefox:
    """Firefox without a screen, by WebDriver BiDi."""

    name = "Firefox"

    def __init__(self, folder: Path) -> None:
        from websockets.sync.client import connect

        profile, port, self._log = folder / "firefox", free_port(), folder / "firefox.log"
        profile.mkdir()
        (profile / "user.js").write_text("".join(f"user_pref({one});\n" for one in _QUIET), encoding="utf-8")
        arguments = ["--headless", "--no-remote", "--profile", str(profile), f"--remote-debugging-port={port}"]
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(["firefox-esr", *arguments], stdout=log, stderr=log)
        wait_until(lambda: "WebDriver BiDi listening" in self._log.read_text(errors="replace"), "Firefox listens", 60)
        self._stack, self._number = ExitStack(), 0
        self._socket = self._stack.enter_context(connect(f"ws://127.0.0.1:{port}/session", max_size=None))
        self._ask("session.new", capabilities={})
        self._context = self._ask("browsingContext.getTree")["contexts"][0]["context"]
        size = {"width": WIDTH, "height": HEIGHT}
        self._ask("browsingContext.setViewport", context=self._context, viewport=size)
        for name, value in cookies().items():
            kept = {"type": "string", "value": value}
            whole = {"name": name, "value": kept, "domain": "127.0.0.1", "path": "/", "httpOnly": True}
            self._ask("storage.setCookie", cookie=whole | {"sameSite": "strict"})

    def _ask(self, method: str, **parameters: Any) -> Any:
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": parameters}))
        while True:  # events come in between
            answer = json.loads(self._socket.recv(60))
            if answer.get("id") == self._number:
                break
        if answer["type"] == "error":
            raise RuntimeError(f"{method}: {answer['error']}: {answer['message']}")
        return answer["result"]

    def goto(self, address: str) -> None:
        self._ask("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def evaluate(self, function: str, *arguments: Any) -> Any:
        target = {"context": self._context}
        try:
            answer = self._ask(
                "script.evaluate", expression=_called(function, arguments), target=target, awaitPromise=True
            )
        except RuntimeError as error:
            return _nothing_if_gone(error)
        assert answer["type"] == "success", answer
        return json.loads(answer["result"]["value"])

    def _act(self, kind: str, *actions: dict[str, Any], **more: Any) -> None:
        source = {"type": kind, "id": kind, "actions": actions, **more}
        self._ask("input.performActions", context=self._context, actions=[source])

    def click(self, x: int, y: int) -> None:
        self._act("pointer", *_click(x, y))

    def keys(self, text: str) -> None:
        # Without a screen its window never has the focus, so that no field is ever left: Enter says as much.
        self._act("key", *_keys(text + _ENTER))

    def picture(self) -> bytes:
        return base64.b64decode(self._ask("browsingContext.captureScreenshot", context=self._context)["data"])

    def printed(self) -> bytes | None:
        return base64.b64decode(self._ask("browsingContext.print", context=self._context)["data"])

    def close(self) -> None:
        try:
            self._ask("browser.close")
            self._stack.close()
        finally:
            _end(self._process)


class WebKit:
    """WebKitGTK's small browser on a screen of its own, by WebDriver."""

    name = "WebKit"

    def __init__(self, folder: Path) -> None:
        log = (folder / "webkit.log").open("wb")
        # Its own bar of buttons is wider than a phone.
        (style := folder / ".config/gtk-3.0/gtk.css").parent.mkdir(parents=True)
        style.write_text(
            "button, entry { min-width: 0; padding: 0; margin: 0; font-size: 1px; -gtk-icon-transform: scale(0); }",
            encoding="utf-8",
        )
        reading, writing = os.pipe()
        self._screen = subprocess.Popen(
            ["Xvfb", "-displayfd", str(writing), "-screen", "0", "1280x1024x24", "-nolisten", "tcp"],
            stdout=log,
            stderr=log,
            pass_fds=[writing],
        )
        os.close(writing)
        with os.fdopen(reading) as said:
            display = said.readline().strip()
        port = free_port()
        self._address = f"http://127.0.0.1:{port}"
        environment = os.environ | {
            "DISPLAY": f":{display}",
            "GDK_BACKEND": "x11",
            "HOME": str(folder),
            "NO_AT_BRIDGE": "1",
        }
        command = ["WebKitWebDriver", f"--port={port}"]
        self._driver = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
        log.close()
        wait_until(self._ready, "WebKitWebDriver answers", 30)
        browser = {"binary": small_browser(), "args": ["--automation"]}
        wanted = {"alwaysMatch": {"webkitgtk:browserOptions": browser}}
        self._session = self._ask("POST", "", capabilities=wanted)["sessionId"]
        for name, value in cookies().items():
            port_of = re.sub(r"\D", "", name)
            self.goto(f"http://127.0.0.1:{port_of}/icon.svg")  # a cookie is given to the page that is open
            self._ask("POST", "cookie", cookie={"name": name, "value": value, "httpOnly": True, "sameSite": "Strict"})
        self._fit()

    def _ready(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self._address}/status", timeout=5) as answer:
                return bool(json.load(answer)["value"]["ready"])
        except OSError:
            return False

    def _fit(self) -> None:
        """A window whose page is of a phone's size: its own bars come on top. The page may take its size a little later
        than the window."""
        wide, high = WIDTH, HEIGHT
        for _ in range(20):
            self._ask("POST", "window/rect", x=0, y=0, width=wide, height=high)
            inner = self.evaluate("() => [innerWidth, innerHeight]")
            if inner == [WIDTH, HEIGHT]:
                return
            wide, high = max(wide + WIDTH - inner[0], WIDTH), max(high + HEIGHT - inner[1], HEIGHT)

    def _ask(self, method: str, path: str, **fields: Any) -> Any:
        session = f"/{self._session}/{path}" if path else ""
        body = json.dumps(fields).encode() if method == "POST" else None
        request = urllib.request.Request(f"{self._address}/session{session}", body, method=method)
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as refused:
            with refused:
                value = json.load(refused)["value"]
            raise RuntimeError(f"{path}: {value['error']}: {value['message']}") from None

    def goto(self, address: str) -> None:
        self._ask("POST", "url", url=address)

    def evaluate(self, function: str, *arguments: Any) -> Any:
        try:
            return json.loads(
                self._ask("POST", "execute/sync", script=f"return {_called(function, arguments)}", args=[])
            )
        except RuntimeError as error:
            return _nothing_if_gone(error)

    def _act(self, kind: str, *actions: dict[str, Any], **more: Any) -> None:
        self._ask("POST", "actions", actions=[{"type": kind, "id": kind, "actions": actions, **more}])

    def click(self, x: int, y: int) -> None:
        self._act("pointer", *_click(x, y))

    def keys(self, text: str) -> None:
        self._act("key", *_keys(text))

    def picture(self) -> bytes:
        return base64.b64decode(self._ask("GET", "screenshot"))

    def printed(self) -> bytes | None:
        return None

    def close(self) -> None:
        try:
            self._ask("DELETE", ".")
        finally:
            _end(self._driver)
            _end(self._screen)


def _click(x: int, y: int) -> list[dict[str, Any]]:
    """Actions of a pointer (WebDriver, "Pointer actions")."""
    press = {"type": "pointerDown", "button": 0}, {"type": "pointerUp", "button": 0}
    return [{"type": "pointerMove", "x": x, "y": y}, *press]


def _keys(text: str) -> list[dict[str, Any]]:
    """Actions of a keyboard: everything in the field is chosen, then typed over."""
    all_of_it = [("keyDown", _CONTROL), ("keyDown", _ALL), ("keyUp", _ALL), ("keyUp", _CONTROL)]
    typed = [(how, letter) for letter in text for how in ("keyDown", "keyUp")]
    return [{"type": how, "value": letter} for how, letter in all_of_it + typed]


def _nothing_if_gone(error: Exception) -> None:
    """A page that is just replaced by the next one has nothing to say; any other trouble is one."""
    if not any(words in str(error) for words in GONE):
        raise error


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(15)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def small_browser() -> str | None:
    """The browser that comes with WebKitGTK."""
    return next((str(path) for path in Path("/usr/lib").glob("*/webkit2gtk-4.*/MiniBrowser")), None)


MISSING: dict[str, Callable[[], str]] = {
    "Firefox": lambda: "" if shutil.which("firefox-esr") else "Firefox is not installed (apt install firefox-esr)",
    "WebKit": lambda: (
        ""
        if shutil.which("WebKitWebDriver") and shutil.which("Xvfb") and small_browser()
        else "WebKit is not installed (apt install webkit2gtk-driver xvfb)"
    ),
}
ENGINES: dict[str, Callable[[Path], Firefox | WebKit]] = {"Firefox": Firefox, "WebKit": WebKit}


@contextmanager
def started(name: str, folder: Path) -> Iterator[Firefox | WebKit]:
    """A browser, ended after use."""
    engine = ENGINES[name](folder)
    try:
        yield engine
    finally:
        engine.close()
