"""A command that runs: its three pipes, read and written without ever waiting for it, and its end."""

import os
import selectors
import signal
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from time import monotonic

from framesim.challenge.protocol import LONGEST_LINE
from framesim.errors import BadArgument

__all__ = ["Running"]

_CHUNK = 1 << 16
_KEPT = 2_000  # bytes of standard error that are kept


class Running:
    """Starts a command and holds its pipes.

    It gets a process group of its own: what it starts in turn is ended with it, and an interruption from the keyboard
    is ours alone.

    Args:
        command: the program and its arguments.

    Raises:
        BadArgument: it cannot be started.
    """

    def __init__(self, command: Sequence[str]) -> None:
        try:
            process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                process_group=0,
            )
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise BadArgument(f"command={command[0]!r}: cannot be started: {reason}") from None
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        self._process, self._streams = process, (process.stdin, process.stdout, process.stderr)
        self.input, self.output, self._talk = (stream.fileno() for stream in self._streams)
        for descriptor in (self.input, self.output, self._talk):
            os.set_blocking(descriptor, False)
        self.unread = b""  #: what came on standard output and was not used yet
        self._complaint = b""

    @property
    def last_words(self) -> str:
        """The last line on standard error so far."""
        lines = self._complaint.decode("utf-8", errors="replace").strip().splitlines()
        return lines[-1] if lines else ""

    def watch(self, ready: selectors.BaseSelector, *, asking: bool) -> None:
        """Register both outputs, and the input if something is to be written."""
        ready.register(self.output, selectors.EVENT_READ)
        ready.register(self._talk, selectors.EVENT_READ)
        if asking:
            ready.register(self.input, selectors.EVENT_WRITE)

    def write(self, unsent: memoryview) -> memoryview:
        """Write what can be written now; return the rest, which is empty too where nobody reads any more."""
        try:
            return unsent[os.write(self.input, unsent[:_CHUNK]) :]
        except BlockingIOError:
            return unsent
        except BrokenPipeError:
            return unsent[:0]

    def read(self) -> bytes | None:
        """Return what can be read now; None if nothing, empty at the end."""
        return _read(self.output)

    def overhear(self) -> bool:
        """Keep the last words on standard error; return whether more may come."""
        chunk = _read(self._talk)
        if chunk:
            self._complaint = (self._complaint + chunk)[-_KEPT:]
        return chunk != b""

    def end_input(self) -> None:
        """Say that there is nothing more to read."""
        with suppress(OSError):
            self._streams[0].close()

    def drain(self, seconds: float) -> tuple[bytes, bool]:
        """Read both outputs until the command ends; return what came on standard output, and whether it ended in time.

        Standard error is read as well: a command that says much at its end must not be stopped by a full pipe.
        """
        taken, until = self.unread, monotonic() + seconds
        with selectors.DefaultSelector() as ready:
            self.watch(ready, asking=False)
            while ready.get_map() and (left := until - monotonic()) > 0 and len(taken) < LONGEST_LINE:
                for key, _ in ready.select(left):
                    if key.fd == self._talk:
                        if not self.overhear():
                            ready.unregister(key.fd)
                    else:
                        chunk = self.read()
                        if chunk == b"":
                            ready.unregister(key.fd)
                        taken += chunk or b""
        return taken, self.status(max(0.1, until - monotonic())) is not None

    def status(self, seconds: float) -> int | None:
        """Return the exit status, or None if the command has not ended in time."""
        try:
            return self._process.wait(timeout=seconds)
        except subprocess.TimeoutExpired:
            return None

    def alive(self) -> bool:
        """Tell whether the command has not ended."""
        return self._process.poll() is None

    def kill(self) -> None:
        """End the command and what it started, at once."""
        if self._process.returncode is None:  # not waited for yet: its number is still its own
            with suppress(OSError):
                os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        for stream in self._streams:
            with suppress(OSError):
                stream.close()


def _read(descriptor: int) -> bytes | None:
    try:
        return os.read(descriptor, _CHUNK)
    except BlockingIOError:
        return None
    except OSError:
        return b""
