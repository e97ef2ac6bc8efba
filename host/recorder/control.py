"""How another process talks to a running recorder: requests and replies of one JSON line each, over a Unix socket.

The socket lies in a folder that only the user can enter, under a name worked out from the run file's path, so whoever
knows the run finds its recorder. Where a system has no such sockets, or the name is too long for one, a file of that
name holds a port of this computer and a key, which a connection has to give first: who can read the file may ask.
Requests name what they ask in "ask"; a reply has "error", a sentence, when it could not be done, and "wrong", the name
of what is wrong (see host.errors).
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import socket
import socketserver
import stat
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from host.errors import BadInputError, NoAnswerError, NotNowError, UserError, error_named

MAX_REQUEST = 1 << 16
LONGEST_NAME = 103  # bytes of a Unix socket's path: sun_path is 104 on macOS and the BSDs, 108 on Linux, with a zero
PATIENCE_S = 5.0  # a command to the board may be sent three times before it is given up


def socket_path(run: Path) -> Path:
    """Where the recorder of `run` listens.

    Raises NoAnswerError when the folder of sockets belongs to somebody else: no recorder can be reached by it.
    """
    name = hashlib.sha256(os.fsencode(os.path.realpath(run))).hexdigest()[:20]
    return private_folder() / f"{name}.sock"


def private_folder() -> Path:
    """The folder of sockets, made if it is not there. Raises NoAnswerError when it is not this user's alone."""
    own = Path(f"/run/user/{os.getuid()}") if hasattr(os, "getuid") else Path()
    # Nobody else can take a folder in the user's own home first.
    home = Path("~/.cache").expanduser()
    folder = own / "swardflow" if _is_private(own) else home / "swardflow"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise NoAnswerError(f"the folder {folder} cannot be made: {error.strerror}; check its rights") from None
    if not _is_private(folder):
        raise NoAnswerError(f"{folder} can be entered by others: run 'chmod 700 {folder}'")
    return folder


def _is_private(folder: Path) -> bool:
    try:
        status = folder.lstat()
    except OSError:
        return False
    if not hasattr(os, "getuid"):  # there a folder in the user's own home is the user's alone
        return stat.S_ISDIR(status.st_mode) and folder != Path()
    return stat.S_ISDIR(status.st_mode) and status.st_uid == os.getuid() and not status.st_mode & 0o077


def recorder_at(port: str) -> dict[str, Any] | None:
    """The status of this user's recorder that records from `port`; None when there is none, or none that answers.

    Raises NotNowError when this program cannot ask.
    """
    if not Path(port).exists():  # an address on a network has no one name
        return None
    try:
        sockets = list(private_folder().glob("*.sock"))
    except NoAnswerError:  # then no recorder could make its socket there, either
        return None
    for path in sockets:
        try:
            status = _ask(path, {"ask": "status"}, f"the recorder at {path}", "no recorder answers")
        except NoAnswerError:
            continue
        if os.path.realpath(str(status.get("port", ""))) == os.path.realpath(port):
            return status
    return None


def _ask(path: Path, request: dict[str, Any], who: str, gone: str) -> dict[str, Any]:
    """The reply of who listens at `path`, whatever it is; `who` is its name in messages, `gone` says that nobody does.

    Raises NoAnswerError when nobody answers, NotNowError when this program cannot ask: then it is not known whether
    somebody would.
    """
    try:
        with _connected(path) as connection:
            connection.sendall(json.dumps(request).encode() + b"\n")
            with connection.makefile("rb") as replies:
                reply = json.loads(replies.readline())
    except TimeoutError:
        raise NoAnswerError(f"{who} has not answered for {PATIENCE_S:g} s: try again") from None
    except (FileNotFoundError, ConnectionError, ValueError):
        reply = None
    except OSError as error:  # no more files can be opened, no memory, no right to
        reason = (error.strerror or str(error)).lower()
        raise NotNowError(f"{who} cannot be asked ({reason}): try again, or close other programs") from None
    if not isinstance(reply, dict):
        raise NoAnswerError(gone)
    return reply


def ask(run: Path, request: dict[str, Any]) -> dict[str, Any]:
    """Send a request to the recorder of `run` and return its reply.

    Raises NoAnswerError when no recorder answers for this run, NotNowError when this program cannot ask, and the
    recorder's own UserError when it could not do what was asked.
    """
    gone = f"no recorder is running for {run}: the run has ended, or the name is wrong"
    return ask_at(socket_path(run), request, f"the recorder of {run}", gone)


def is_recording(run: Path, ask_recorder: Callable[[Path, dict[str, Any]], dict[str, Any]] = ask) -> bool:
    """Whether a recorder answers for `run`; also when it only refuses, or cannot be asked now and may well record."""
    try:
        ask_recorder(run, {"ask": "status"})
    except NoAnswerError:
        return False
    except UserError:
        pass
    return True


def ask_at(path: Path, request: dict[str, Any], who: str, gone: str) -> dict[str, Any]:
    """The same of whoever listens at `path`; `who` is its name in messages, `gone` the message when nobody answers."""
    reply = _ask(path, request, who, gone)
    if "error" in reply:
        raise error_named(str(reply.get("wrong", "")))(str(reply["error"]))
    return reply


def _takes_unix_socket(path: Path) -> bool:
    return hasattr(socket, "AF_UNIX") and len(os.fsencode(path)) <= LONGEST_NAME


def _connected(path: Path) -> socket.socket:
    if _takes_unix_socket(path):
        connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        connection.settimeout(PATIENCE_S)
        try:
            connection.connect(str(path))
        except BaseException:
            connection.close()
            raise
        return connection
    port, key = path.read_text(encoding="ascii").split()
    connection = socket.create_connection(("127.0.0.1", int(port)), PATIENCE_S)
    connection.sendall(key.encode() + b"\n")
    return connection


class ControlServer:
    """Answers requests in threads of its own with what `answer` returns.

    `answer` raises UserError for what cannot be done.
    """

    def __init__(self, path: Path, answer: Callable[[dict[str, Any]], dict[str, Any]]) -> None:
        self._path = path
        path.unlink(missing_ok=True)  # run files are never overwritten, so only a dead recorder can have left it
        self._server = _serve(path, answer)
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.1,), name="swardflow control", daemon=True
        )
        self._thread.start()

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self._path.unlink(missing_ok=True)


class _Threads(socketserver.ThreadingMixIn):
    daemon_threads = True
    block_on_close = False
    request_queue_size = 64  # with the usual five, a few who ask at once are turned away


def _serve(path: Path, answer: Callable[[dict[str, Any]], dict[str, Any]]) -> socketserver.BaseServer:
    """A server at `path`: a Unix socket, or a file with port and key where there can be none."""
    if _takes_unix_socket(path):

        class OverUnixSocket(_Threads, socketserver.UnixStreamServer):
            pass

        return OverUnixSocket(str(path), _handler(answer))

    class OverLoopback(_Threads, socketserver.TCPServer):
        pass

    key = secrets.token_hex(32)
    server = OverLoopback(("127.0.0.1", 0), _handler(answer, key))
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(descriptor, f"{server.server_address[1]} {key}\n".encode("ascii"))
    finally:
        os.close(descriptor)
    return server


def _handler(
    answer: Callable[[dict[str, Any]], dict[str, Any]], key: str = ""
) -> type[socketserver.StreamRequestHandler]:
    """Answers a connection's requests; with a `key`, after a first line that gives it."""

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            with suppress(OSError):  # whoever asked has gone
                if key and not hmac.compare_digest(self.rfile.readline(MAX_REQUEST).strip(), key.encode()):
                    return
                while line := self.rfile.readline(MAX_REQUEST):
                    self.wfile.write(json.dumps(_reply(answer, line)).encode() + b"\n")

    return Handler


def _reply(answer: Callable[[dict[str, Any]], dict[str, Any]], line: bytes) -> dict[str, Any]:
    try:
        request = json.loads(line)
        if not isinstance(request, dict):
            raise BadInputError("a request must be a JSON object")
        return answer(request)
    except UserError as error:
        return {"error": str(error), "wrong": error.name}
    except (ValueError, TypeError, RecursionError):
        return {
            "error": "the request is not written as it should be: see host/recorder/control.py",
            "wrong": BadInputError.name,
        }
