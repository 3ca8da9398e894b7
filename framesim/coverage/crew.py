"""An engine's run on several processes: each follows some of the lines through the whole of it.

A line's frames, hits and verdicts depend on the events alone, and every process draws the same events from the seed.
So the lines are shared out, not the windows: no process has to make frames that another one makes too. What comes
back is put together window by window, in order, so the result is the same for any number of processes.
"""

import os
import signal
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from multiprocessing.connection import Connection, wait
from typing import Any

from framesim.coverage.child_process import ChildProcess
from framesim.coverage.lines import lines_of
from framesim.coverage.passage import receivers_on
from framesim.coverage.residual_of_lines import residuals_of
from framesim.coverage.scenario import OTHER_LINKS, Scenario
from framesim.coverage.spark_residual import SparkResidual
from framesim.coverage.traffic import Traffic
from framesim.coverage.windows import Part, engine_parts
from framesim.disturbance import Ignition
from framesim.errors import BadInput, FramesimError

__all__ = ["ANALOG", "Crew", "shared_out"]

ANALOG = "analog"
#: Seconds of one core for an hour at one receiver, and for each further one: only their ratios matter.
_COSTS: Mapping[str, tuple[float, float]] = {
    "can": (7, 2), "can-fd": (6, 2), "lin": (5, 0), "sent": (5, 0), "flexray": (4, 1), "ethernet": (2.5, 0),
    ANALOG: (1.5, 0),
}  # fmt: skip
_AHEAD = 64  # parts of one process that may wait for those of the others

Residuals = Mapping[tuple[str, str], SparkResidual | None]


def shared_out(scenario: Scenario, workers: int) -> list[tuple[str, ...]]:
    """Return which lines each process follows, at most so many processes: the dearest line first, to the least busy."""
    known = {"can": scenario.link, **scenario.links}
    costs = {ANALOG: _COSTS[ANALOG][0]}
    for name, link in known.items():
        first, each = _COSTS[name]
        costs[name] = first + each * (receivers_on(link, scenario.receivers) - 1)
    groups: list[list[str]] = [[] for _ in range(min(workers, len(costs)))]
    for name in sorted(costs, key=lambda name: (-costs[name], name)):
        min(groups, key=lambda group: sum(costs[one] for one in group)).append(name)
    return [tuple(group) for group in groups]


class _Worker(ChildProcess):
    """A process that follows some lines, and what it has sent and nobody has taken yet."""

    def __init__(self, scenario: Scenario, group: tuple[str, ...]) -> None:
        super().__init__(_follow, scenario, group)
        self.parts: deque[Any] = deque()

    def take(self) -> None:
        """Take one message.

        Raises:
            FramesimError: the worker raised it, or ended before its work did.
        """
        try:
            message = self.pipe.recv()
        except (EOFError, OSError):
            raise BadInput(
                f"a worker process ended too early ({self.how_it_ended()}); --workers 1 does without"
            ) from None
        if isinstance(message, BaseException):
            raise message
        self.parts.append(message)


class Crew:
    """Processes that follow a scenario's lines."""

    def __init__(self, scenario: Scenario, workers: int) -> None:
        """Prepare; processes are started by ``parts``.

        Args:
            scenario: an engine's.
            workers: processes at most; more than there are lines do not help.
        """
        self._scenario = scenario
        self._groups = shared_out(scenario, workers)
        self._workers: list[_Worker] = []

    def __enter__(self) -> "Crew":
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._workers:
            worker.end()
        self._workers = []

    @property
    def processes(self) -> list[int]:
        """Numbers of the running processes, for whoever watches them."""
        return [worker.process.pid for worker in self._workers if worker.process.pid is not None]

    def parts(self) -> Iterator[tuple[str, float, float, Part]]:
        """Yield the whole run's pieces; see ``parts_of``.

        Raises:
            FramesimError: a process raised it, or ended before its work did.
        """
        for group in self._groups:
            self._workers.append(_Worker(self._scenario, group))
        while True:
            messages = self._next()
            if not isinstance(messages[0], tuple):
                break
            column, share, seconds, whole = messages[0]
            for *_, part in messages[1:]:
                whole = whole + part
            yield column, share, seconds, whole
        self._rest = messages

    def residuals(self) -> Residuals:
        """Return (network, column) → the undetected rate, after all parts were taken."""
        return {key: found for some in self._rest for key, found in some.items()}

    def _next(self) -> Sequence[Any]:
        """Return the next message of each worker, of all for the same window and column."""
        while not all(worker.parts for worker in self._workers):
            listening = [worker for worker in self._workers if len(worker.parts) < _AHEAD]
            ready = wait([worker.pipe for worker in listening if not self._has_ended(worker)])
            for worker in listening:
                if worker.pipe in ready:
                    worker.take()
        return [worker.parts.popleft() for worker in self._workers]

    @staticmethod
    def _has_ended(worker: _Worker) -> bool:
        """Tell whether a worker's last message is here."""
        return bool(worker.parts) and isinstance(worker.parts[-1], dict)


def _follow(pipe: Connection, scenario: Scenario, group: tuple[str, ...]) -> None:
    """Follow some lines through the whole run: send a part for each window and column, then the undetected rates."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole group; the parent decides
    try:
        assert isinstance(scenario.disturbance, Ignition)
        traffic = Traffic(scenario)
        every = lines_of(scenario, traffic)
        lines = {name: line for name, line in every.items() if name in group}
        totals: dict[str, Part] = {column: Part() for column in scenario.severities}
        for column, share, seconds, part in engine_parts(
            scenario, scenario.disturbance, traffic, lines, samples=ANALOG in group
        ):
            totals[column] += part
            pipe.send((column, share, seconds, part))
        pipe.send(dict(residuals_of(scenario, totals, lines)))
    except FramesimError as error:
        pipe.send(error)
    except OSError:  # the parent is gone
        os._exit(0)


assert set(_COSTS) == {"can", ANALOG, *OTHER_LINKS}
