"""A port in real time: the board on a listening socket or a pseudo-terminal.

.venv/bin/python -m tests.other_firmware.serve --socket 0   prints the URL to record from
.venv/bin/python -m tests.other_firmware.serve --pty        prints the device
"""

import argparse
import os
import pty
import select
import socket
import time
import tty
from collections.abc import Callable

from .board import Board, Build
from .boom import Boom, Walk, walked

TICK_S = 0.005


def serve(board: Board, port: int, clock: Callable[[], float], until: float) -> None:
    """Move bytes between the board and an open file descriptor until the walk or the host ends it.

    `clock` gives the seconds that the world goes by; one that runs faster makes a walk that is over sooner.
    """
    os.set_blocking(port, False)
    zero = clock()
    while (now := clock() - zero) < until:
        ready, _, _ = select.select([port], [], [], TICK_S)
        out = b"".join(data for _, data in board.advance(now))
        try:
            if ready:
                data = os.read(port, 4096)
                if not data:
                    return
                board.receive(now, data)
            if out:
                os.write(port, out)
        except BlockingIOError:
            continue  # the host reads too slowly: those bytes are lost on the way
        except OSError:
            return  # the host has closed the port


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--socket", type=int, metavar="PORT", help="listen here; 0 takes a free one")
    parser.add_argument("--pty", action="store_true", help="a pseudo-terminal")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--passes", type=int, default=4)
    parser.add_argument("--length", type=float, default=30.0, help="metres of a pass")
    parser.add_argument("--protocol", default="1.1")
    asked = parser.parse_args()
    world = walked(Boom(), Walk(passes=asked.passes, length_m=asked.length), asked.seed)
    board = Board(Build(protocol=asked.protocol), world)
    for one in world.passes:
        print(f"{one.begins:8.2f} to {one.ends:8.2f} s: {one.ground_m:.3f} m, {one.litres:.4f} L", flush=True)
    if asked.pty:
        port, other = pty.openpty()
        tty.setraw(other)
        print(os.ttyname(other), flush=True)
        serve(board, port, time.monotonic, world.lasts + 1)
        return
    with socket.create_server(("127.0.0.1", asked.socket or 0)) as listening:
        print(f"socket://127.0.0.1:{listening.getsockname()[1]}", flush=True)
        taken, _ = listening.accept()
        with taken:
            serve(board, taken.fileno(), time.monotonic, world.lasts + 1)


if __name__ == "__main__":
    main()
