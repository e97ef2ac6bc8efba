"""Invitations, sessions, limits and the terminal's banner, without a server; clocks and codes are given."""

from __future__ import annotations

import re
import threading
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import zxingcpp

from dashboards.sharing.guests import HOLDS_S, LONGEST_NAME, MOST, Guests, clean_name, device_of
from dashboards.sharing.invitations import (
    ALPHABET,
    CODE_LENGTH,
    OWN_CODE_LENGTH,
    SECRET_LENGTH,
    Invitations,
    draw,
    in_groups,
    own_code,
)
from dashboards.sharing.session_middleware import (
    ASKS,
    UNKNOWN_ASKS,
    WRONG_ALL,
    WRONG_ALL_S,
    WRONG_EACH,
    WRONG_EACH_S,
    SessionMiddleware,
)
from dashboards.sharing.terminal_banner import TerminalBanner, link, qr_lines
from dashboards.web.visitor import VISITOR, may_only_look, visitor_name
from tests.dashboards.asked import Clock, everything, told


class Drawn:
    """Letters and figures that can be foreseen: each draw is its own number."""

    count = 0

    def __call__(self, length: int) -> str:
        self.count += 1
        return f"{self.count:0{length}d}"


def test_codes_cannot_be_misread_and_do_not_repeat() -> None:
    codes = {draw(CODE_LENGTH) for _ in range(2000)}
    assert len(codes) == 2000
    assert all(len(code) == CODE_LENGTH and set(code) <= set(ALPHABET) for code in codes)
    assert not set("01OIL") & set(ALPHABET)
    # the sums in invitations.py
    tries = WRONG_ALL + 10 * 3600 / WRONG_ALL_S
    assert tries == 12_020
    assert tries / len(ALPHABET) ** CODE_LENGTH == pytest.approx(1.4e-8, rel=0.01)
    assert len(ALPHABET) ** SECRET_LENGTH >= 2**128


def test_each_invitation_holds_once_and_the_own_one_only_here() -> None:
    invitations = Invitations(Drawn())
    guest, own = invitations.guest, invitations.own
    assert invitations.use_link(own.secret, from_here=False) is None
    assert invitations.use_link(own.secret, from_here=True) is own
    assert invitations.use_link(own.secret, from_here=True) is None
    assert invitations.use_link(guest.secret, from_here=False) is guest
    assert invitations.use_code(guest.code) is None, "the link used its code up, too"
    typed = invitations.guest
    assert invitations.use_code(f" {typed.code[:4]}-{typed.code[4:]} ".lower()) is typed
    assert invitations.use_link(typed.secret, from_here=False) is None
    for wrong in ("", "é" * 8, "0" * 10**6, "\x00", invitations.own.code):
        assert invitations.use_code(wrong) is None
        assert invitations.use_link(wrong, from_here=True) is None


def test_the_owners_own_code_goes_on_holding_and_guests_codes_beside_it(tmp_path: Path) -> None:
    code = own_code(tmp_path / "swardflow" / "own-code")
    assert own_code(tmp_path / "swardflow" / "own-code") == code
    assert (tmp_path / "swardflow" / "own-code").stat().st_mode & 0o077 == 0
    (tmp_path / "swardflow" / "own-code").write_text("x", encoding="utf-8")  # damaged: another one
    code = own_code(tmp_path / "swardflow" / "own-code")
    invitations = Invitations(Drawn(), code)
    guest = invitations.guest
    for _ in range(2):
        assert invitations.use_code(in_groups(code).lower()) is not None
    assert invitations.use_link(code, from_here=True) is None
    assert invitations.guest is guest, "the guests' code is not used up"
    assert Invitations(Drawn()).use_code("") is None
    # the sum in invitations.py
    assert 365 * 86_400 / WRONG_ALL_S / len(ALPHABET) ** OWN_CODE_LENGTH == pytest.approx(1.3e-11, rel=0.03)


def test_the_owners_own_code_is_for_the_owner_and_not_for_the_log() -> None:
    said: list[str] = []
    kept: list[str] = []
    banner = TerminalBanner(
        8050, Invitations(Drawn(), "ABCDEFGHJKMN"), addresses=lambda: ["192.168.43.20"], with_qr=False, say=said.append
    )
    banner.keep = kept.extend
    banner.show()
    assert "Your own code, which goes on holding: ABCD-EFGH-JKMN" in kept
    assert "ABCD" not in "".join(said)


def test_a_session_is_kept_on_the_server_and_ends_there(tmp_path: Path) -> None:
    clock = Clock()
    file = tmp_path / "sessions.json"
    guests = Guests(file, clock=clock)
    token = guests.admit("192.168.1.9", "Android phone")
    guest = guests.of_token(token)
    assert guest and (guest.name, guest.address, guest.looks_only) == ("Android phone 1", "192.168.1.9", False)
    assert guests.of_token(guest.id) is None, "what the list shows opens nothing"
    assert token not in file.read_text()
    assert file.stat().st_mode & 0o077 == 0
    assert Guests(file, clock=clock).of_token(token) == guest, "the pages were started again"
    clock.now += HOLDS_S - 1
    assert guests.of_token(token)
    clock.now += 2
    assert guests.of_token(token) is None
    assert Guests(file, clock=clock).listed() == []


def test_guests_are_renamed_set_to_look_and_turned_out() -> None:
    news: list[str] = []
    guests = Guests(clock=Clock())
    guests.changed = news.append
    own = guests.of_token(guests.admit("127.0.0.1", "Mac", own=True))
    first, second = (guests.of_token(guests.admit("192.168.1.9", "iPhone")) for _ in range(2))
    assert own and first and second
    assert [one.name for one in guests.listed()] == ["This computer", "iPhone 1", "iPhone 2"]
    guests.rename(first.id, "  Ann\x1b[2J \u202e Hall, groundsman of the bowling green ")
    named = guests.named(first.id)
    assert named and named.name.isprintable() and len(named.name) <= LONGEST_NAME and named.name.startswith("Ann")
    guests.rename(first.id, "   ")
    assert guests.named(first.id) == named
    guests.let_look_only(second.id, True)
    guests.let_look_only(own.id, True)
    assert [one.looks_only for one in guests.listed()] == [False, False, True]
    guests.turn_out(first.id)
    guests.turn_out(own.id)
    guests.turn_out("nobody")
    assert [one.name for one in guests.listed()] == ["This computer", "iPhone 2"], "this computer stays"
    assert news[1] == "Let in: iPhone 1, from 192.168.1.9."
    assert news[-1].startswith("Turned out: Ann")
    guests.looks_only = True
    third = guests.of_token(guests.admit("192.168.1.10", "iPad"))
    assert third and third.looks_only
    for _ in range(MOST + 5):
        guests.admit("192.168.1.9", "iPhone")
    assert len(guests.listed()) == MOST


def test_devices_and_names_in_plain_words() -> None:
    # User-Agent headers as browsers send them, from memory
    for header, device in {
        "Mozilla/5.0 (Linux; Android 14; Pixel) AppleWebKit/537.36 Chrome/126.0 Mobile Safari/537.36": "Android phone",
        "Mozilla/5.0 (Linux; Android 14; Tab) AppleWebKit/537.36 Chrome/126.0 Safari/537.36": "Android tablet",
        "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) Version/17.5 Mobile/15E148": "iPhone",
        "Mozilla/5.0 (Windows NT 10.0; Win64; x64) Chrome/126.0": "Windows computer",
        "\x1b]0;x\x07": "Browser",
        "": "Browser",
    }.items():
        assert device_of(header) == device
    assert clean_name("a\nb\tc") == "a\\nb\\tc"


def asked(client: str, query: str = "", cookie: str = "", path: str = "/live/newest") -> dict[str, Any]:
    return {
        **{"type": "http", "method": "GET", "path": path, "query_string": query.encode()},
        **{"client": (client, 1), "server": ("192.168.1.7", 8050), "headers": [(b"cookie", cookie.encode())]},
    }


def typing(client: str, code: str) -> dict[str, Any]:
    return asked(client, path="/enter") | {"method": "POST", "form": f"code={code}".encode()}


class Let:
    """The middleware with a clock, codes that can be foreseen and what the terminal is told."""

    def __init__(self) -> None:
        self.clock = Clock()
        self.news: list[str] = []
        self.invitations, self.guests = Invitations(Drawn()), Guests(clock=Clock())
        self.made = SessionMiddleware(everything, self.invitations, self.guests, self.news.append, clock=self.clock)

    def status(self, scope: dict[str, Any]) -> int:
        return int(told(self.made, scope, {"type": "http.request", "body": scope.get("form", b"")})[0]["status"])


def test_wrong_codes_of_many_addresses_together_are_limited() -> None:
    """One try from each of many addresses gets no further than the sum in invitations.py allows."""
    let = Let()
    answers = [let.status(typing(f"192.168.1.{number}", "XXXXXXXX")) for number in range(100)]
    assert answers == [403] * WRONG_ALL + [429] * (100 - WRONG_ALL)
    assert let.status(typing("192.168.1.200", let.invitations.guest.code)) == 429
    let.clock.now += WRONG_ALL_S
    assert let.status(typing("192.168.1.200", let.invitations.guest.code)) == 303
    let.clock.now += 3600
    tries = sum(let.status(typing("192.168.1.9", "XXXXXXXX")) == 403 for _ in range(100))
    assert tries == WRONG_EACH
    let.clock.now += WRONG_EACH_S
    assert let.status(typing("192.168.1.9", "XXXXXXXX")) == 403
    assert let.status(typing("192.168.1.9", "XXXXXXXX")) == 429
    assert any("192.168.1.9" in message for message in let.news)


def test_who_scans_the_link_is_never_kept_out_by_who_guesses_codes() -> None:
    let = Let()
    for number in range(200):
        let.status(typing(f"192.168.1.{number}", "XXXXXXXX"))
        let.status(asked(f"192.168.2.{number}", "key=" + "X" * SECRET_LENGTH))
    assert let.status(typing("192.168.1.9", let.invitations.guest.code)) == 429, "typing has to wait"
    assert let.status(asked("192.168.1.9", f"key={let.invitations.guest.secret}")) == 303
    assert let.status(asked("127.0.0.1", f"key={let.invitations.own.secret}")) == 303
    assert [guest.name for guest in let.guests.listed()] == ["Browser 1", "This computer"]


def test_a_page_that_is_not_shared_takes_its_own_link_alone() -> None:
    let = Let()
    made = SessionMiddleware(everything, let.invitations, let.guests, let.news.append, shared=False, clock=let.clock)
    form = typing("127.0.0.1", let.invitations.guest.code)
    assert told(made, form, {"type": "http.request", "body": form["form"]})[0]["status"] == 403
    assert told(made, asked("127.0.0.1"))[0]["status"] == 403
    assert told(made, asked("127.0.0.1", f"key={let.invitations.own.secret}"))[0]["status"] == 303


def test_requests_are_limited_for_each_session_and_for_strangers() -> None:
    let = Let()
    one, other = (f"swardflow-8050={let.guests.admit('192.168.1.9', 'iPhone')}" for _ in range(2))

    def spend(scope: dict[str, Any], most: int) -> list[MutableMapping[str, Any]]:
        for _ in range(most):
            told(let.made, scope, {"type": "http.request", "body": b""})
        return told(let.made, scope, {"type": "http.request", "body": b""})

    start = spend(asked("192.168.1.9", cookie=one), ASKS)[0]
    assert start["status"] == 429
    assert dict(start["headers"])[b"retry-after"] == b"1"
    assert let.status(asked("192.168.1.9", cookie=other)) == 200, "the other phone behind the same address goes on"
    assert spend(asked("192.168.1.10"), UNKNOWN_ASKS)[0]["status"] == 429
    let.clock.now += 60
    assert let.status(asked("192.168.1.9", cookie=one)) == 200


def test_the_visitor_of_a_request_is_known_by_name_and_by_what_they_may() -> None:
    let = Let()
    seen: list[tuple[str, bool]] = []

    async def noting(scope: Any, receive: Any, send: Any) -> None:
        seen.append((visitor_name(), may_only_look()))
        await everything(scope, receive, send)

    made = SessionMiddleware(noting, let.invitations, let.guests, let.news.append, clock=let.clock)
    token = let.guests.admit("192.168.1.9", "iPhone")
    guest = let.guests.of_token(token)
    assert guest
    button = asked("192.168.1.9", cookie=f"swardflow-8050={token}", path="/live/tell/stop") | {"method": "POST"}

    def press() -> int:
        return int(told(made, button, {"type": "http.request", "body": b"{}"})[0]["status"])

    assert press() == 200
    let.guests.let_look_only(guest.id, True)
    assert press() == 200
    assert seen == [("iPhone 1", False), ("iPhone 1", True)]
    assert VISITOR.get() is None, "nothing is left behind"
    let.guests.turn_out(guest.id)
    assert press() == 403 and made.admit(button) is None


def test_who_is_turned_out_gets_no_answer_that_was_still_being_made() -> None:
    let = Let()
    token = let.guests.admit("192.168.1.9", "iPhone")
    guest = let.guests.of_token(token)
    assert guest

    async def turning_out_meanwhile(scope: Any, receive: Any, send: Any) -> None:
        let.guests.turn_out(guest.id)
        await everything(scope, receive, send)

    made = SessionMiddleware(turning_out_meanwhile, let.invitations, let.guests, let.news.append, clock=let.clock)
    start, *rest = told(made, asked("192.168.1.9", cookie=f"swardflow-8050={token}"), {"type": "http.request"})
    assert start["status"] == 403 and len(rest) == 1


def test_a_list_of_guests_that_is_damaged_or_cannot_be_kept_keeps_nobody_out(tmp_path: Path) -> None:
    """They are let in anew; who is let in now, stays so."""
    for number, damaged in enumerate((b"", b"{", b"\xff", b'{"guests": [{"id": 3}], "numbered": 1}', b"[]", b"null")):
        file = tmp_path / f"{number}.json"
        file.write_bytes(damaged)
        guests = Guests(file)
        assert guests.listed() == []
        assert guests.of_token(guests.admit("192.168.1.9", "iPhone"))
        assert len(Guests(file).listed()) == 1
    nowhere = Guests(tmp_path / "none" / "guests.json")
    assert nowhere.of_token(nowhere.admit("192.168.1.9", "iPhone"))


def test_the_qr_code_reads_as_the_link() -> None:
    """Read by another library's decoder, from the half blocks that the terminal shows."""
    shown = link("192.168.178.201", 8050, draw(SECRET_LENGTH))
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    rows = []
    for line in qr_lines(shown):
        assert line.startswith("\x1b[30;107m")
        assert line.endswith("\x1b[0m")
        blocks = [halves[one] for one in re.sub("\x1b\\[[0-9;]*m", "", line)]
        rows += [[block[half] for block in blocks] for half in (0, 1)]
    assert len(rows[0]) <= 76, "fits in a terminal of 80 columns"
    image = np.kron(1 - np.array(rows, np.uint8), np.full((8, 8), 255, np.uint8))
    assert [found.text for found in zxingcpp.read_barcodes(image)] == [shown]


def test_the_banner_shows_again_what_has_changed_and_nothing_else() -> None:
    said: list[str] = []
    addresses = [["192.168.1.7", "10.42.0.1"]]
    invitations = Invitations(Drawn())
    guest, own = invitations.guest, invitations.own
    banner = TerminalBanner(8050, invitations, addresses=lambda: addresses[0], with_qr=False, say=said.append)
    banner.show()
    banner.show()
    assert len(said) == 1
    for part in (
        *(f"http://{address}:8050/?key={guest.secret}" for address in addresses[0]),
        *(f"{guest.code[:4]}-{guest.code[4:]}", f"http://127.0.0.1:8050/?key={own.secret}", "Not encrypted"),
    ):
        assert part in said[0]
    addresses[0] = []
    banner.show()
    assert "on no network yet" in said[1]
    invitations.use_link(guest.secret, from_here=False)
    addresses[0] = ["192.168.1.8"]
    banner.tell("Let in: iPhone 1, from 192.168.1.50.")
    banner.show()
    assert said[2].startswith("\nLet in: iPhone 1, from 192.168.1.50.\n")
    assert f"http://192.168.1.8:8050/?key={invitations.guest.secret}" in said[2]
    assert guest.secret not in said[2]


def test_a_page_for_this_computer_shows_its_link_and_the_next() -> None:
    said: list[str] = []
    invitations = Invitations(Drawn())
    banner = TerminalBanner(8050, invitations, "127.0.0.1", say=said.append)
    banner.show()
    assert said == [f"\nLive page: http://127.0.0.1:8050/?key={invitations.own.secret}"]
    invitations.use_link(invitations.own.secret, from_here=True)
    banner.show()
    assert said[1].endswith(f"another browser on this computer: http://127.0.0.1:8050/?key={invitations.own.secret}")
    assert link("::1", 8050, "X") == "http://[::1]:8050/?key=X"


def test_the_banner_survives_whatever_goes_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    """Too many open files while it looks for addresses, a terminal that is gone: later links are still shown."""
    monkeypatch.setattr("dashboards.sharing.terminal_banner.LOOK_S", 0.01)
    said: list[str] = []
    broken = [OSError(24, "Too many open files"), RuntimeError("anything")]
    shown = threading.Event()

    def addresses() -> list[str]:
        if broken:
            raise broken.pop()
        return ["192.168.1.7"]

    def say(text: str) -> None:
        said.append(text)
        if len(said) == 1:
            raise UnicodeEncodeError("ascii", "▀", 0, 1, "no such letter")
        if "192.168.1.7" in text:
            shown.set()

    banner = TerminalBanner(8050, Invitations(Drawn()), addresses=addresses, with_qr=False, say=say)
    banner.start()
    assert shown.wait(60)
    banner.close()
