"""What the libraries below the pages have to say, as one line each and few of them.

Anybody on the network can make them speak once per request; on the owner's terminal stand the links and codes.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from pathlib import Path

from dashboards.web.rate_limit import RateLimit
from host.errors import visible
from host.log import LOG

BURST, EVERY_S = 5, 30.0
LOGGERS = ("uvicorn.error", "websockets", "asyncio", "fastapi", "starlette", "dash", "dashboards")
_LONGEST = 300


class LimitedLog(logging.Handler):
    """Hands `say` one line a record, at most BURST at once and one more every EVERY_S seconds, and counts the rest."""

    def __init__(
        self,
        say: Callable[[str], None] = LOG.warning,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(logging.WARNING)
        self._say = say
        self._limit = RateLimit(BURST, EVERY_S, clock=clock)
        self._left_out = 0

    def emit(self, record: logging.LogRecord) -> None:
        """Show a record, or count it."""
        if self._limit.take(""):
            self._left_out += 1
            return
        try:
            more = f" ({self._left_out} more messages left out)" if self._left_out else ""
            self._left_out = 0
            self._say(visible(f"Page server: {record.getMessage().strip()}{_place(record)}"[:_LONGEST]) + more)
        except Exception:  # a terminal that is gone
            return


def _place(record: logging.LogRecord) -> str:
    """What failed and where, in place of a traceback."""
    error = record.exc_info[1] if record.exc_info else None
    if error is None:
        return ""
    at = error.__traceback__
    while at is not None and at.tb_next is not None:
        at = at.tb_next
    where = f", {Path(at.tb_frame.f_code.co_filename).name} line {at.tb_lineno}" if at else ""
    return f": {type(error).__name__}: {error}{where}"


def limit_logs(handler: logging.Handler | None = None) -> None:
    """Send what the libraries log through one LimitedLog, and nowhere else."""
    handler = handler or LimitedLog()
    for name in LOGGERS:
        logger = logging.getLogger(name)
        logger.handlers = [handler]
        logger.propagate = False
