"""A command that answers through pipes, and everything that it can do wrong on the way."""

import os
import selectors
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from time import monotonic

from framesim.challenge.case import Case
from framesim.challenge.endpoint import Reply, Stopped
from framesim.challenge.protocol import LONGEST_LINE, OTHER_CASE, Trouble, case_line, read_answers
from framesim.errors import BadArgument, check_number

__all__ = ["CommandEndpoint"]

_CHUNK = 1 << 16
_KEPT = 2_000  # bytes of standard error that are kept
_MOST_DEATHS, _MOST_HANGS, _MOST_SLIPS = 40, 3, 3
_LEAVE_SECONDS = 2.0  # how long a command may take to end once its input has ended


class CommandEndpoint:
    """Runs a command and asks it many cases ahead; starts it anew after it died.

    Args:
        command: the program and its arguments.
        timeout: seconds without any answer after which it counts as hanging.

    Raises:
        BadArgument: no command, one that cannot be started, or a timeout that is none.
    """

    def __init__(self, command: Sequence[str], *, timeout: float = 5.0) -> None:
        if not command:
            raise BadArgument("command: missing; give the program after -- (framesim challenge NETWORK -- ./decoder)")
        check_number("timeout", timeout, 0, 3600, unit="seconds", open_low=True)
        self._command = list(command)
        self._timeout = timeout
        self._asked = 0
        self._deaths = self._hangs = self._slips = 0
        self._held_back = False
        self._notes: dict[str, Trouble] = {}
        self._process: subprocess.Popen[bytes] | None = None
        self._start()

    def ask(self, cases: Sequence[Case]) -> list[Reply]:
        """Return one reply a case. A case at which the command died or hung gets a ``Trouble``.

        Raises:
            Stopped: it died or hung too often; what was answered so far is in the exception.
        """
        replies: list[Reply] = []
        while len(replies) < len(cases):
            self._give_up_if_hopeless(replies)
            fresh, trouble = self._exchange(cases[len(replies) :])
            replies += fresh
            if trouble is None:
                continue
            self._kill()
            alone = not fresh and len(cases) - len(replies) == 1
            answered_by_itself = alone or self._held_back or trouble.words == OTHER_CASE
            replies.append(trouble if answered_by_itself else self._suspect(cases[len(replies)], trouble))
        return replies

    def _suspect(self, case: Case, trouble: Trouble) -> Reply:
        """Ask the first unanswered case by itself: is it what the command stumbled over?"""
        fresh, again = self._exchange([case])
        if again is not None:
            self._kill()
            return again
        self._note(f"{trouble.words}, though not when asked the same case alone", trouble.detail)
        return fresh[0]

    def _give_up_if_hopeless(self, replies: list[Reply]) -> None:
        if self._slips >= _MOST_SLIPS:
            raise Stopped(replies, f"{self._slips} times its answers did not keep step with the questions")
        if self._hangs >= _MOST_HANGS or self._deaths >= _MOST_DEATHS:
            raise Stopped(replies, f"it died {self._deaths} and hung {self._hangs} times")
        if self._held_back:
            raise Stopped(replies, "it holds its answers back")

    def finish(self) -> list[Trouble]:
        """End the command's input, wait for its end, and return what was wrong with the whole run."""
        process = self._process
        if process is not None and process.poll() is None:
            assert process.stdin is not None
            assert process.stdout is not None
            with suppress(OSError):
                process.stdin.close()
            surplus, ended = self._drain(_LEAVE_SECONDS)
            if surplus.strip():
                lines = len(surplus.strip().splitlines())
                self._note("writes more lines than it was asked cases", f"{lines} too many")
            if not ended:
                self._note("does not end when its input ends")
        self._kill()
        return list(self._notes.values())

    def _note(self, words: str, detail: str = "") -> None:
        self._notes.setdefault(words, Trouble(words=words, detail=detail))

    def close(self) -> None:
        """Stop the command."""
        self._kill()

    def _start(self) -> subprocess.Popen[bytes]:
        if self._process is not None:
            return self._process
        try:
            process = subprocess.Popen(
                self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0
            )
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise BadArgument(f"command={self._command[0]!r}: cannot be started: {reason}") from None
        for stream in (process.stdin, process.stdout, process.stderr):
            assert stream is not None
            os.set_blocking(stream.fileno(), False)
        self._process, self._unread, self._complaint = process, b"", b""
        return process

    def _kill(self) -> None:
        if self._process is None:
            return
        with suppress(OSError):
            self._process.kill()
        self._process.wait()
        for stream in (self._process.stdin, self._process.stdout, self._process.stderr):
            with suppress(OSError):
                if stream is not None:
                    stream.close()
        self._process = None

    def _exchange(self, cases: Sequence[Case]) -> tuple[list[Reply], Trouble | None]:
        """Write ``cases`` and read answers at the same time; return those that came, and what ended it too soon."""
        process = self._start()
        first = self._asked
        self._asked += len(cases)
        unsent = memoryview(b"".join(case_line(first + place, case) for place, case in enumerate(cases)))
        answers: list[Reply] = []
        unread = self._unread
        since = monotonic()
        with selectors.DefaultSelector() as ready:
            assert process.stdin is not None
            assert process.stdout is not None
            assert process.stderr is not None
            ready.register(process.stdin, selectors.EVENT_WRITE)
            ready.register(process.stdout, selectors.EVENT_READ)
            ready.register(process.stderr, selectors.EVENT_READ)
            while len(answers) < len(cases):
                left = since + self._timeout - monotonic()
                if left <= 0:
                    return answers, self._hung(len(cases) - len(answers))
                for key, _ in ready.select(left):
                    if key.fileobj is process.stdin:
                        try:
                            unsent = unsent[os.write(key.fd, unsent[:_CHUNK]) :]
                        except BrokenPipeError:
                            unsent = unsent[:0]
                        except BlockingIOError:
                            continue
                        if not unsent:
                            ready.unregister(process.stdin)
                    elif key.fileobj is process.stderr:
                        if not self._overhear(key.fd):
                            ready.unregister(process.stderr)
                    else:
                        chunk = _read(key.fd)
                        if chunk is None:
                            continue
                        if not chunk:
                            return answers, self._died()
                        *lines, unread = (unread + chunk).split(b"\n")
                        if len(unread) > LONGEST_LINE:
                            return answers, self._gone(f"writes a line of more than {LONGEST_LINE:,} characters")
                        due = lines[: len(cases) - len(answers)]
                        fresh = read_answers(due, first + len(answers))
                        for answer in fresh:
                            if isinstance(answer, Trouble) and answer.words == OTHER_CASE:
                                self._slips += 1
                                return answers, answer
                            answers.append(answer)
                        if lines:
                            since = monotonic()
                        if len(answers) == len(cases):
                            unread = b"\n".join([*lines[len(due) :], unread])
        self._unread = unread
        return answers, None

    def _overhear(self, descriptor: int) -> bool:
        """Keep the last words on standard error; return whether more may come."""
        chunk = _read(descriptor)
        if chunk:
            self._complaint = (self._complaint + chunk)[-_KEPT:]
        return chunk != b""

    def _gone(self, words: str, detail: str = "") -> Trouble:
        self._deaths += 1
        last = self._complaint.decode("utf-8", errors="replace").strip().splitlines()
        return Trouble(words=words, detail="; ".join(filter(None, [detail, *last[-1:]])), costly=True)

    def _died(self) -> Trouble:
        """Standard output has ended: tell how the command ended, if it did."""
        process = self._process
        assert process is not None
        try:
            status = process.wait(timeout=_LEAVE_SECONDS)
        except subprocess.TimeoutExpired:
            return self._gone("closes its output before it has answered")
        assert process.stderr is not None
        while self._overhear(process.stderr.fileno()) and _has_more(process.stderr.fileno()):
            pass
        if status < 0:
            return self._gone("crashes", f"signal {-status}")
        return self._gone("ends before it has answered", f"exit status {status}")

    def _hung(self, missing: int) -> Trouble:
        """No answer in time. If the answers come once the input ends, they were only held back."""
        self._hangs += 1
        process = self._process
        assert process is not None
        assert process.stdin is not None
        with suppress(OSError):
            process.stdin.close()
        rest, _ = self._drain(min(self._timeout, _LEAVE_SECONDS))
        if b"\n" in rest:
            self._held_back = True
            return Trouble(words="holds its answers back: flush standard output after each line", costly=True)
        return Trouble(words="hangs", detail=f"no answer within {self._timeout:g} s", costly=True)

    def _drain(self, seconds: float) -> tuple[bytes, bool]:
        """Read what is left on standard output; return it, and whether it ended in time."""
        process = self._process
        assert process is not None
        assert process.stdout is not None
        taken, until = self._unread, monotonic() + seconds
        with selectors.DefaultSelector() as ready:
            ready.register(process.stdout, selectors.EVENT_READ)
            while (left := until - monotonic()) > 0 and len(taken) < LONGEST_LINE:
                if ready.select(left):
                    chunk = _read(process.stdout.fileno())
                    if chunk == b"":
                        with suppress(subprocess.TimeoutExpired):
                            process.wait(timeout=max(0.1, left))
                        return taken, process.poll() is not None
                    taken += chunk or b""
        return taken, False


def _has_more(descriptor: int) -> bool:
    with selectors.DefaultSelector() as ready:
        ready.register(descriptor, selectors.EVENT_READ)
        return bool(ready.select(0))


def _read(descriptor: int) -> bytes | None:
    """Return what can be read now; None if nothing, empty at the end."""
    try:
        return os.read(descriptor, _CHUNK)
    except BlockingIOError:
        return None
    except OSError:
        return b""
