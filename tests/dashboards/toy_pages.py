"""The pages with one kind of calibration more, as a process of its own: `python -m tests.dashboards.toy_pages`."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import uvicorn

from dashboards.context import PageContext
from dashboards.shell import build_shell, open_first_page
from dashboards.web.offline import add_offline_routes
from host.calibrate.kinds import KINDS
from host.run_folder import cards_folder
from tests.host.calibrate import toy_kind


def main(folder: Path, port: int) -> None:
    """Serve until ended."""
    _, server = build_shell(PageContext(folder, cards_folder(folder), kinds=(*KINDS, toy_kind.KIND)))
    add_offline_routes(server)
    asyncio.run(open_first_page(server))
    uvicorn.run(server, host="127.0.0.1", port=port, log_level="warning")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
