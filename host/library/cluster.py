"""Work shared over computers by Dask (extra `fleet`): `dask scheduler` on one, `dask worker` on each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from host.errors import NoAnswerError, NotInstalledError
from host.library.dataset import Done, Spread, Task

_WAIT_S = 15.0
_RETRIES = 4  # workers that die over one run before it is given up


@contextmanager
def over_cluster(address: str, wait_s: float = _WAIT_S) -> Iterator[Spread]:
    """A way to spread tasks over the cluster at `address`.

    Workers have this version of Swardflow and see the run files under the same paths. A worker that dies has its tasks
    done by the others. Raises UserError when Dask is not installed or nobody answers at the address within `wait_s`.
    """
    try:
        from distributed import Client
    except ImportError:
        raise NotInstalledError("--on needs the package distributed: install swardflow[fleet]") from None
    try:
        client = Client(address, timeout=wait_s)
    except (OSError, ValueError) as error:
        raise NoAnswerError(
            f"no Dask scheduler answers at {address} ({type(error).__name__}): start one with 'dask scheduler' and "
            "'dask worker ADDRESS'"
        ) from None
    with client:
        yield lambda work, tasks: _spread(client, work, tasks)


def _spread(client: Any, work: Callable[[Task], Done], tasks: Sequence[Task]) -> Iterator[Done]:
    from distributed import as_completed

    asked = client.map(work, tasks, pure=False, retries=_RETRIES)
    by_key = {future.key: task for future, task in zip(asked, tasks, strict=True)}
    for future in as_completed(asked):
        error = future.exception()
        if error is None:
            yield future.result()
        else:
            task = by_key[future.key]
            said = f"{task.path.name} was given up by the cluster ({type(error).__name__}): run the command again"
            yield Done(task, None, None, said)
        future.release()
