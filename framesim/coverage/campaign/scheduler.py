"""Who computes units: any means that takes numbers and gives back results, in whatever order."""

from collections.abc import Generator, Iterator
from typing import NamedTuple, Protocol

from framesim.coverage.campaign.identity import work_hash
from framesim.coverage.campaign.work import UnitResult, Work
from framesim.errors import BadArgument, BadInput, check_range

__all__ = ["InProcess", "Results", "Scheduler", "Task", "compute", "scheduler_named"]

MOST_ATTEMPTS = 3  #: a unit that ends its worker so often is given up

#: number and result of each unit, as it is finished
Results = Generator[tuple[int, UnitResult], None, None]


class Task(NamedTuple):
    """What a worker must know once.

    Attributes:
        work: what is computed.
        seed: of every draw.
        hash: of the work, where the campaign was started: a worker with other versions must not join in.
    """

    work: Work
    seed: int
    hash: str


class Scheduler(Protocol):
    """Computes units."""

    def results(self, task: Task, numbers: Iterator[int]) -> Results:
        """Yield every unit of ``numbers`` once, as it is finished; take no more numbers than can soon be worked on.

        Closing the iterator ends the work.

        Raises:
            FramesimError: what a unit raised.
            BadInput: workers cannot be had, or a unit keeps ending them.
        """


class InProcess:
    """Units one after another, here."""

    def results(self, task: Task, numbers: Iterator[int]) -> Results:
        """Yield the units in order; see ``Scheduler.results``."""
        for number in numbers:
            yield number, task.work.unit(task.seed, number)


def compute(task: Task, number: int) -> UnitResult:
    """Compute a unit on a worker.

    Raises:
        BadInput: this worker would compute something else than the campaign does.
    """
    here = work_hash(task.work)
    if here != task.hash:
        raise BadInput(
            f"worker: its work is {here[:12]}, the campaign's {task.hash[:12]}; expected the same versions of framesim "
            "and numpy on all machines"
        )
    return task.work.unit(task.seed, number)


def scheduler_named(workers: int, address: str | None) -> Scheduler:
    """Return the scheduler that options ask for.

    Args:
        workers: local processes; 1: this one.
        address: of a Dask scheduler, such as ``tcp://10.0.0.5:8786``; None: this machine.

    Raises:
        BadArgument: a number out of range, or an address of another form.
    """
    if address is not None:
        if "://" not in address:
            raise BadArgument(f"scheduler={address!r}: expected an address such as tcp://10.0.0.5:8786")
        from framesim.coverage.campaign.cluster import Cluster

        return Cluster(address)
    check_range("workers", workers, 1, 1024, base="d")
    if workers == 1:
        return InProcess()
    from framesim.coverage.campaign.processes import Processes

    return Processes(workers)
