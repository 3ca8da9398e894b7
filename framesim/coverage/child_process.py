"""A process of our own with a pipe to it: started so that Ctrl-C cannot meet it half made, and made to leave."""

import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

__all__ = ["ChildProcess"]

_BLOCKS = hasattr(signal, "pthread_sigmask")  # not on every system
_ENDING_S = 2.0  # how long it may take to leave before it is made to


class ChildProcess:
    """A running process and our end of its pipe.

    Attributes:
        process: for whoever watches it.
        pipe: our end; ``EOFError`` or ``OSError`` there means that the process is gone.
    """

    def __init__(self, target: Callable[..., None], *arguments: Any) -> None:
        """Start ``target(its end of the pipe, *arguments)`` in a new process; the target decides about Ctrl-C."""
        context = multiprocessing.get_context("spawn")
        self.pipe: Connection
        self.pipe, theirs = context.Pipe()
        self.process: BaseProcess = context.Process(target=target, args=(theirs, *arguments), daemon=True)
        # The child inherits the block, so Ctrl-C cannot meet it while it is still starting; ours is held until then.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if _BLOCKS else set()
        try:
            self.process.start()
        finally:
            if _BLOCKS:
                signal.pthread_sigmask(signal.SIG_SETMASK, before)
        theirs.close()

    def how_it_ended(self) -> str:
        """Return in words how the process ended, waiting a moment for it."""
        self.process.join(_ENDING_S)
        code = self.process.exitcode
        how = f"signal {-code}" if code is not None and code < 0 else f"exit status {code}"
        return f"{how}; 9 is often a lack of memory"

    def end(self) -> None:
        """Make it leave."""
        self.pipe.close()
        self.process.terminate()
        self.process.join(_ENDING_S)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()
        self.process.close()
