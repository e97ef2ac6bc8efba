"""Runs callbacks beside the event loop, which carries the live stream: no screen may make another one wait."""

from __future__ import annotations

import asyncio
import contextvars
import functools
import inspect
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any


class Sequential:
    """Turns plain functions into coroutines that run them in one thread, one after another, as the loop would have."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="answers")

    def __call__(self, function: Callable[..., Any]) -> Callable[..., Awaitable[Any]]:
        """The function as a coroutine; one that is a coroutine already stays as it is."""
        if inspect.iscoroutinefunction(function):
            return function

        @functools.wraps(function)
        async def beside(*args: Any, **kwargs: Any) -> Any:
            inside = contextvars.copy_context()  # Dash keeps there what the callback is asked for
            call = functools.partial(inside.run, function, *args, **kwargs)
            return await asyncio.get_running_loop().run_in_executor(self._thread, call)

        return beside
