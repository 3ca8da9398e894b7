"""Units on local processes: a worker that dies is replaced, and its unit is computed again.

The standard library's pools break as a whole when one process dies; here each worker has a pipe of its own, so the
death of one is the loss of one unit's time.
"""

import multiprocessing
import os
import pickle
import signal
from collections.abc import Iterator
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any

from framesim.coverage.campaign.scheduler import MOST_ATTEMPTS, Results, Task, compute
from framesim.coverage.campaign.work import UnitResult
from framesim.errors import BadInput, FramesimError

__all__ = ["Processes"]

BLOCKS = hasattr(signal, "pthread_sigmask")  # not on every system
_ENDING_S = 2.0  # how long a worker may take to leave before it is made to


class _Worker:
    """A process and our end of its pipe."""

    def __init__(self, task: Task) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process: BaseProcess = context.Process(target=_serve, args=(theirs, task), daemon=True)
        # The worker inherits the block, so Ctrl-C cannot meet it while it is still starting; ours is held until then.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if BLOCKS else set()
        try:
            self.process.start()
        finally:
            if BLOCKS:
                signal.pthread_sigmask(signal.SIG_SETMASK, before)
        theirs.close()
        self.number: int | None = None

    def give(self, number: int) -> None:
        self.number = number
        try:
            self.pipe.send(number)
        except OSError:  # it has just died; its pipe will say so
            return

    def end(self, *, now: bool) -> None:
        self.pipe.close()
        if now:
            self.process.terminate()
        self.process.join(_ENDING_S)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()
        self.process.close()


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
                        worker.end(now=True)
                        workers[place] = worker = _Worker(task)  # noqa: PLW2901 - the dead one's place
                    worker.number = None
                    following = lost.pop() if lost else next(numbers, None)
                    if following is not None:
                        worker.give(following)
                    if answer is not None:
                        yield number, answer
        finally:
            for worker in workers:
                worker.end(now=True)


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
    worker.process.join(_ENDING_S)
    code = worker.process.exitcode
    how = f"signal {-code}" if code is not None and code < 0 else f"exit status {code}"
    raise BadInput(
        f"unit {number}: ended its worker {attempts} times ({how}; 9 is often a lack of memory); finished units are "
        "kept"
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
