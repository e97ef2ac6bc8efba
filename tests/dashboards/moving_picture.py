"""Takes the short moving picture of a pass: `python -m tests.dashboards.moving_picture` (about two minutes).

An animated PNG (PNG specification, third edition, W3C: chunks acTL, fcTL, fdAT) needs no tool but the browser.
"""

from __future__ import annotations

import struct
import sys
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.dashboards.processes import ROOT
from tests.dashboards.retake_screens import SCREENS, demo_pages, take_with_chromium
from tests.dashboards.sessions import LetIn

SIGNATURE = b"\x89PNG\r\n\x1a\n"
FRAMES, EVERY_MS = 16, 700
SIZE, SCALE = {"width": 360, "height": 640}, 0.75
MOST_BYTES = 600_000


def chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Type and data of each chunk."""
    at = len(SIGNATURE)
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        yield png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        at += 12 + length


def chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk with its length and check sum."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def animated(pictures: Sequence[bytes], every_ms: int) -> bytes:
    """One animated PNG of PNGs of the same size and kind; it repeats without end.

    Raises ValueError when they differ in size or kind.
    """
    head = dict(chunks(pictures[0]))[b"IHDR"]
    width, height = struct.unpack(">II", head[:8])
    out = [SIGNATURE, chunk(b"IHDR", head), chunk(b"acTL", struct.pack(">II", len(pictures), 0))]
    sequence = 0
    for number, picture in enumerate(pictures):
        parts = list(chunks(picture))
        if dict(parts)[b"IHDR"] != head:
            raise ValueError("the pictures differ in size or kind")
        control = struct.pack(">IIIIIHHBB", sequence, width, height, 0, 0, every_ms, 1000, 0, 0)
        out.append(chunk(b"fcTL", control))
        sequence += 1
        body = b"".join(data for kind, data in parts if kind == b"IDAT")
        body = zlib.compress(zlib.decompress(body), 9)
        if number:
            out.append(chunk(b"fdAT", struct.pack(">I", sequence) + body))
            sequence += 1
        else:
            out.append(chunk(b"IDAT", body))
    return b"".join([*out, chunk(b"IEND", b"")])


def moving_picture(browser: LetIn, folder: Path) -> int:
    """Record an emulated sprayer and take the pictures while it sprays."""
    stopped = "document.getElementById('live').dataset.advice === 'stop'"
    pictures: list[bytes] = []
    with demo_pages("clog-in-third-pass", folder) as address:
        page = browser.new_context(viewport=SIZE, device_scale_factor=SCALE, color_scheme="light").new_page()
        page.goto(address + "live")
        page.mouse.click(1, SIZE["height"] - 1)
        # The last quarter of them shows the fault that the others lead up to.
        while len(pictures) < FRAMES:
            pictures.append(page.screenshot())
            if not page.evaluate(stopped):
                pictures = pictures[-FRAMES * 3 // 4 :]
            page.wait_for_timeout(EVERY_MS)
    path = SCREENS / "pass.png"
    path.write_bytes(animated(pictures, EVERY_MS))
    print(f"{path.relative_to(ROOT)}: {path.stat().st_size} bytes")
    return 0 if path.stat().st_size <= MOST_BYTES else 2


if __name__ == "__main__":
    sys.exit(take_with_chromium(moving_picture))
