"""Units on local processes: a worker that dies is replaced, and its unit is computed again.

The standard library's pools break as a whole when one process dies; here each worker has a pipe of its own, so the
death of one is the loss of one unit's time.
"""

import os
import pickle
import signal
from collections.abc import Iterator
from multiprocessing.connection import Connection, wait
from typing import Any

from framesim.coverage.campaign.scheduler import MOST_ATTEMPTS, Results, Task, compute
from framesim.coverage.campaign.work import UnitResult
from framesim.coverage.child_process import ChildProcess
from framesim.errors import BadInput, FramesimError

__all__ = ["Processes"]


class _Worker(ChildProcess):
    """A process that computes units, and the number of the one it was given."""

    def __init__(self, task: Task) -> None:
        super().__init__(_serve, task)
        self.number: int | None = None

    def give(self, number: int) -> None:
        self.number = number
        try:
            self.pipe.send(number)
        except OSError:  # it has just died; its pipe will say so
            return


class Processes:
    """Units on so many processes of this machine.

    Args:
        workers: how many.
    """

    def __init__(self, workers: int) -> None:
        self._n_workers = workers

    def results(self, task: Task, numbers: Iterator[int]) -> Results:
        """Yield the units as they are finished; see ``Scheduler.results``."""
        workers: list[_Worker] = []
        attempts: dict[int, int] = {}
        lost: list[int] = []
        try:
            for number in numbers:
                workers.append(_Worker(task))
                workers[-1].give(number)
                if len(workers) == self._n_workers:
                    break
            while any(worker.number is not None for worker in workers):
                ready = wait([worker.pipe for worker in workers if worker.number is not None])
                for place, worker in enumerate(workers):
                    if worker.pipe not in ready or worker.number is None:
                        continue
                    number, answer = worker.number, _answer(worker)
                    if answer is None:
                        lost.append(number)
                        attempts[number] = attempts.get(number, 0) + 1
                        _check_attempts(number, attempts[number], worker)
                        worker.end()
                        workers[place] = worker = _Worker(task)  # noqa: PLW2901 - the dead one's place
                    worker.number = None
                    following = lost.pop() if lost else next(numbers, None)
                    if following is not None:
                        worker.give(following)
                    if answer is not None:
                        yield number, answer
        finally:
            for worker in workers:
                worker.end()


def _answer(worker: _Worker) -> UnitResult | None:
    """Return what a worker sent; None if it died.

    Raises:
        FramesimError: the unit raised it.
    """
    try:
        answer: Any = worker.pipe.recv()
    except (EOFError, OSError, pickle.UnpicklingError):
        return None
    if isinstance(answer, BaseException):
        raise answer
    assert isinstance(answer, UnitResult)
    return answer


def _check_attempts(number: int, attempts: int, worker: _Worker) -> None:
    if attempts < MOST_ATTEMPTS:
        return
    raise BadInput(
        f"unit {number}: ended its worker {attempts} times ({worker.how_it_ended()}); finished units are kept"
    )


def _serve(pipe: Connection, task: Task) -> None:
    """Compute what is asked for until nobody asks any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C reaches the whole group; the parent decides
    while True:
        try:
            number = pipe.recv()
        except (EOFError, OSError):
            os._exit(0)
        answer: UnitResult | BaseException
        try:
            answer = compute(task, number)
        except FramesimError as error:
            answer = error
        try:
            pipe.send(answer)
        except OSError:  # the parent is gone
            os._exit(0)
