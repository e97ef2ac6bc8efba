"""The key with which a program reads /metrics: `Authorization: Bearer KEY` (RFC 6750). It opens nothing else."""

from __future__ import annotations

import hmac
import secrets
from pathlib import Path

from dashboards.sharing.kept_secret import kept_secret
from dashboards.web.asgi import AsgiApp, Receive, Scope, Send, header_values

METRICS = "/metrics"
_SHORTEST = 32


def metrics_key(path: Path) -> str:
    """The key in this file, which is made the first time, for its owner alone. Raises NotSavedError."""
    return kept_secret(path, lambda: secrets.token_urlsafe(32), lambda kept: len(kept) >= _SHORTEST)


class MetricsMiddleware:
    """An ASGI application that lets GET /metrics with the key through to `app`, and sends all else to `sessions`.

    Without a key all goes to `sessions`, as does a wrong one.
    """

    def __init__(self, app: AsgiApp, sessions: AsgiApp, key: str) -> None:
        self._app, self._sessions, self.key = app, sessions, key

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        asks = scope["type"] == "http" and (scope["method"], scope["path"]) == ("GET", METRICS)
        let_in = asks and self.key and _holds(header_values(scope, "authorization"), self.key)
        await (self._app if let_in else self._sessions)(scope, receive, send)


def _holds(authorization: list[str], key: str) -> bool:
    given = authorization[0].split(" ", 1) if len(authorization) == 1 else []
    return len(given) == 2 and given[0].lower() == "bearer" and hmac.compare_digest(given[1].encode(), key.encode())
