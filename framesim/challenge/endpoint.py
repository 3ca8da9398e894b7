"""Whoever answers: a function of this process, or a command behind pipes."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

from framesim.challenge.case import Case
from framesim.challenge.expected import REFUSED, Expected, verdict_of
from framesim.challenge.protocol import Trouble
from framesim.networks.receiver import Reception
from framesim.wire import WireFrame

__all__ = ["CallableEndpoint", "Endpoint", "Interrupted", "Reply", "Stopped"]

Reply = Mapping[str, Any] | Trouble
_SHOWN = 60


class Stopped(Exception):
    """A codec failed too often to go on.

    Args:
        replies: what it answered of the cases asked last.
        reason: why there is no going on.
    """

    def __init__(self, replies: Sequence[Reply], reason: str) -> None:
        super().__init__(reason)
        self.replies = list(replies)
        self.reason = reason


class Interrupted(KeyboardInterrupt):
    """An interruption from the keyboard in the middle of many cases.

    Args:
        replies: what was answered of the cases asked last.
    """

    def __init__(self, replies: Sequence[Reply]) -> None:
        super().__init__()
        self.replies = list(replies)


class Endpoint(Protocol):
    """Answers cases."""

    def ask(self, cases: Sequence[Case]) -> list[Reply]:
        """Return one reply a case.

        Raises:
            Stopped: there is no going on.
            Interrupted: from the keyboard.
        """

    def finish(self) -> list[Trouble]:
        """Say that there are no more cases; return what was wrong with the whole run."""

    def close(self) -> None:
        """Stop at once."""


class CallableEndpoint:
    """Asks functions. What they raise is a finding; what they return may be any of several forms.

    Args:
        decoder: takes wire bits as text of 0 and 1; returns a mapping as the protocol has it, a ``Reception``, a frame
            (accepted), or None (not accepted).
        encoder: takes a frame; returns its bits as text, as numbers, or as a ``WireFrame``.
    """

    def __init__(
        self, *, decoder: Callable[[str], Any] | None = None, encoder: Callable[[Any], Any] | None = None
    ) -> None:
        self._decoder = decoder
        self._encoder = encoder

    def ask(self, cases: Sequence[Case]) -> list[Reply]:
        """Return one reply a case.

        Raises:
            Interrupted: from the keyboard.
        """
        replies: list[Reply] = []
        try:
            for case in cases:
                replies.append(self._one(case))
        except KeyboardInterrupt:
            raise Interrupted(replies) from None
        return replies

    def finish(self) -> list[Trouble]:
        """Return nothing: each call stands by itself."""
        return []

    def close(self) -> None:
        """Do nothing."""

    def _one(self, case: Case) -> Reply:
        try:
            if case.mode == "encode":
                assert self._encoder is not None
                return {"bits": _bits(self._encoder(case.frame))}
            assert self._decoder is not None
            told = self._decoder(case.bits)
            if told is None or isinstance(told, Mapping | Reception) or hasattr(type(told), "__dataclass_fields__"):
                return _answer(told)
            return Trouble(words=f"returns {type(told).__name__}, which is no answer", detail=repr(told)[:_SHOWN])
        except (Exception, SystemExit) as error:  # noqa: BLE001 - whatever foreign code raises is what we are here to find
            return Trouble(words=f"raises {type(error).__name__}", detail=str(error).partition("\n")[0])


def _answer(told: Any) -> Mapping[str, Any]:
    if told is None:
        return {"verdict": REFUSED}
    if isinstance(told, Mapping):
        return told
    if isinstance(told, Reception):
        return _whole(verdict_of(told))
    return _whole(Expected(verdict="accepted", frame=told))


def _whole(answer: Expected) -> Mapping[str, Any]:
    from framesim.networks.registry import network_of

    record = answer.record()
    if answer.frame is not None:
        record["format"] = network_of(answer.frame).name.partition("-original")[0]
    return record


def _bits(told: Any) -> Any:
    if isinstance(told, str) or told is None:
        return told
    if isinstance(told, WireFrame):
        return told.bits.to01()
    return "".join(str(int(bit)) for bit in told)
