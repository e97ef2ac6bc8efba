"""The process that forks servers for the tests leaves none behind, however the tests end."""

import json
import os
import select
import socket
import subprocess
import sys

FORKS = """
import signal, socket, sys
from tests.dashboards.preloaded import wait_to_be_forked
wait_to_be_forked(socket.socket(fileno=int(sys.argv[1])))
signal.pause()
"""
HANGS_S = 60.0  # only where it fails


def test_what_was_forked_ends_when_the_tests_are_gone(tmp_path):
    ours, theirs = socket.socketpair()
    alive, held = os.pipe()  # held open by all that runs
    command = [sys.executable, "-c", FORKS, str(theirs.fileno())]
    with ours, theirs, subprocess.Popen(command, pass_fds=[theirs.fileno(), held]) as preloader:
        os.close(held)
        theirs.close()
        ours.sendall(json.dumps({"fork": ["x"], "log": str(tmp_path / "log"), "environment": {}}).encode() + b"\n")
        assert int(ours.recv(100)) > 0
        ours.close()
        assert preloader.wait(HANGS_S) == 0
    assert select.select([alive], [], [], HANGS_S)[0] and os.read(alive, 1) == b""
    os.close(alive)
