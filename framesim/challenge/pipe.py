"""A command that answers through pipes, and everything that it can do wrong on the way."""

import selectors
from collections.abc import Sequence
from time import monotonic

from framesim.challenge.case import Case
from framesim.challenge.endpoint import Interrupted, Reply, Stopped
from framesim.challenge.process import Running
from framesim.challenge.protocol import LONGEST_LINE, OTHER_CASE, Trouble, case_line, read_answers
from framesim.errors import BadArgument, check_number

__all__ = ["CommandEndpoint"]

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
        self._running: Running | None = None
        self._start()

    def ask(self, cases: Sequence[Case]) -> list[Reply]:
        """Return one reply a case. A case at which the command died or hung gets a ``Trouble``.

        Raises:
            Stopped: it died or hung too often; what was answered so far is in the exception.
            Interrupted: from the keyboard; likewise.
        """
        replies: list[Reply] = []
        try:
            while len(replies) < len(cases):
                self._give_up_if_hopeless(replies)
                before = len(replies)
                trouble = self._exchange(cases[before:], replies)
                if trouble is None:
                    continue
                self._kill()
                alone = before == len(replies) == len(cases) - 1
                answered_by_itself = alone or self._held_back or trouble.words == OTHER_CASE
                replies.append(trouble if answered_by_itself else self._suspect(cases[len(replies)], trouble))
        except KeyboardInterrupt:
            self._kill()  # it owes answers, which must not be taken for surplus
            raise Interrupted(replies) from None
        return replies

    def _suspect(self, case: Case, trouble: Trouble) -> Reply:
        """Ask the first unanswered case by itself: is it what the command stumbled over?"""
        fresh: list[Reply] = []
        again = self._exchange([case], fresh)
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
        running = self._running
        if running is not None and running.alive():
            running.end_input()
            surplus, ended = running.drain(_LEAVE_SECONDS)
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

    def _start(self) -> Running:
        if self._running is None:
            self._running = Running(self._command)
        return self._running

    def _kill(self) -> None:
        if self._running is not None:
            self._running.kill()
        self._running = None

    def _exchange(self, cases: Sequence[Case], replies: list[Reply]) -> Trouble | None:
        """Write ``cases`` and read answers at the same time; add those that come, return what ended it too soon."""
        running = self._start()
        first = self._asked
        self._asked += len(cases)
        unsent = memoryview(b"".join(case_line(first + place, case) for place, case in enumerate(cases)))
        done = len(replies)
        due = done + len(cases)
        since = monotonic()
        with selectors.DefaultSelector() as ready:
            running.watch(ready, asking=True)
            while len(replies) < due:
                left = since + self._timeout - monotonic()
                if left <= 0:
                    return self._hung(running)
                for key, _ in ready.select(left):
                    if key.fd == running.input:
                        unsent = running.write(unsent)
                        if not unsent:
                            ready.unregister(key.fd)
                    elif key.fd != running.output:
                        if not running.overhear():
                            ready.unregister(key.fd)
                    elif (chunk := running.read()) is not None:
                        if not chunk:
                            return self._died(running)
                        came = len(replies)
                        trouble = self._take(running, chunk, replies, due, first - done)
                        if trouble is not None:
                            return trouble
                        if len(replies) > came:
                            since = monotonic()
        return None

    def _take(self, running: Running, chunk: bytes, replies: list[Reply], due: int, offset: int) -> Trouble | None:
        """Add the answers that ``chunk`` completes, until ``due`` are there; return what makes going on senseless."""
        *lines, rest = (running.unread + chunk).split(b"\n")
        if len(rest) > LONGEST_LINE:
            return self._gone(running, f"writes a line of more than {LONGEST_LINE:,} characters")
        wanted = lines[: due - len(replies)]
        for answer in read_answers(wanted, offset + len(replies)):
            if isinstance(answer, Trouble) and answer.words == OTHER_CASE:
                self._slips += 1
                return answer
            replies.append(answer)
        running.unread = b"\n".join([*lines[len(wanted) :], rest])
        return None

    def _gone(self, running: Running, words: str, detail: str = "") -> Trouble:
        self._deaths += 1
        return Trouble(words=words, detail="; ".join(filter(None, [detail, running.last_words])), costly=True)

    def _died(self, running: Running) -> Trouble:
        """Standard output has ended: tell how the command ended, if it did."""
        _, ended = running.drain(_LEAVE_SECONDS)
        status = running.status(0) if ended else None
        if status is None:
            return self._gone(running, "closes its output before it has answered")
        if status < 0:
            return self._gone(running, "crashes", f"signal {-status}")
        return self._gone(running, "ends before it has answered", f"exit status {status}")

    def _hung(self, running: Running) -> Trouble:
        """No answer in time. If the answers come once the input ends, they were only held back."""
        self._hangs += 1
        running.end_input()
        rest, _ = running.drain(min(self._timeout, _LEAVE_SECONDS))
        if b"\n" in rest:
            self._held_back = True
            return Trouble(words="holds its answers back: flush standard output after each line", costly=True)
        return Trouble(words="hangs", detail=f"no answer within {self._timeout:g} s", costly=True)
