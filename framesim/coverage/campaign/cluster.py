"""Units on other machines, through a Dask scheduler. The one place that imports dask, and only when used."""

import logging
from collections.abc import Iterator
from itertools import islice
from typing import Any

from framesim import __version__
from framesim.coverage.campaign.scheduler import Results, Task, compute
from framesim.coverage.campaign.work import UnitResult
from framesim.errors import BadInput, NotFeasible

__all__ = ["Cluster"]

_PER_WORKER = 2  # units in hand for each thread of the cluster: one under way, one waiting
_CONNECT_S = 5


class Cluster:
    """Units on the workers of a Dask scheduler, which gives a lost worker's units to another.

    Args:
        address: of the scheduler, such as ``tcp://10.0.0.5:8786``.
        most_waiting: units in hand at once; None: twice the threads of the cluster.
    """

    def __init__(self, address: str, *, most_waiting: int | None = None) -> None:
        self._address = address
        self._most_waiting = most_waiting

    def results(self, task: Task, numbers: Iterator[int]) -> Results:
        """Yield the units as they are finished; see ``Scheduler.results``."""
        try:
            from distributed import as_completed
        except ImportError:
            raise NotFeasible(
                "scheduler: Dask is not installed; install the extra: pip install 'framesim[cluster]'"
            ) from None
        client = self._client()
        waiting: Any = None
        try:
            waiting = as_completed(loop=client.loop)  # type: ignore[no-untyped-call]
            for number in islice(numbers, self._most_waiting or _PER_WORKER * _threads(client)):
                waiting.add(_submitted(client, task, number))
            for future in waiting:
                result = _result(future)
                number = int(future.key.rpartition("-")[2])
                following = next(numbers, None)
                if following is not None:
                    waiting.add(_submitted(client, task, following))
                yield number, result
        finally:
            if waiting is not None:
                client.cancel(list(waiting.futures))
            client.close()

    def _client(self) -> Any:
        from distributed import Client

        logging.getLogger("distributed").setLevel(logging.CRITICAL)  # we say ourselves, in one line, what went wrong
        try:
            return Client(self._address, timeout=_CONNECT_S, set_as_default=False)  # type: ignore[no-untyped-call]
        except (OSError, ValueError, TimeoutError) as error:
            raise BadInput(
                f"scheduler={self._address}: no Dask scheduler answers there ({type(error).__name__}); start one with: "
                "dask scheduler"
            ) from None


def _threads(client: Any) -> int:
    n_threads: int = sum(client.nthreads().values())
    return max(1, n_threads)


def _submitted(client: Any, task: Task, number: int) -> Any:
    key = f"framesim-{task.hash[:16]}-{task.seed}-{number}"
    return client.submit(compute, task, number, key=key, pure=False)


def _result(future: Any) -> UnitResult:
    from concurrent.futures import CancelledError

    from distributed import KilledWorker

    try:
        result = future.result()
    except CancelledError:
        raise BadInput("scheduler: went away while units were computed; finished units are kept") from None
    except (ImportError, AttributeError, RuntimeError) as error:  # what a worker says that cannot load the work
        raise BadInput(
            f"worker: cannot compute units ({type(error).__name__}: {error}); expected framesim {__version__} there"
        ) from None
    except KilledWorker:
        raise BadInput(
            f"unit {future.key.rpartition('-')[2]}: ended several workers; finished units are kept"
        ) from None
    assert isinstance(result, UnitResult)
    return result
