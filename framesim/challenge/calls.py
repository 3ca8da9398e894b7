"""The three ways to start a challenge."""

from collections.abc import Callable, Sequence
from typing import Any

from framesim.challenge.endpoint import CallableEndpoint
from framesim.challenge.pipe import CommandEndpoint
from framesim.challenge.report import Report
from framesim.challenge.run import Watch, run_challenge

__all__ = ["challenge_command", "challenge_decoder", "challenge_encoder"]


def challenge_decoder(
    decoder: Callable[[str], Any], *, network: str, cases: int = 5_000, seed: int = 1, watch: Watch | None = None
) -> Report:
    """Challenge a decoder that is a function.

    Args:
        decoder: takes wire bits as text of 0 and 1; returns a mapping as the protocol in ``docs/challenge.md`` has it,
            a ``Reception``, a frame (accepted), or None (not accepted). What it raises is a finding. A call that never
            returns cannot be ended from here; challenge a command instead.
        network: name of a network, or of a configuration such as ``flexray-b``.
        cases: how many to ask.
        seed: of the random ones.
        watch: called with the share done.

    Raises:
        BadArgument: an argument out of range.
    """
    endpoint = CallableEndpoint(decoder=decoder)
    return run_challenge(endpoint, network=network, mode="decode", cases=cases, seed=seed, watch=watch)


def challenge_encoder(
    encoder: Callable[[Any], Any], *, network: str, cases: int = 5_000, seed: int = 1, watch: Watch | None = None
) -> Report:
    """Challenge an encoder that is a function.

    Args:
        encoder: takes a frame such as ``framesim.CanFrame``; returns its bits in wire order, as text of 0 and 1 or as
            numbers. What it raises is a finding.
        network: name of a network, or of a configuration such as ``flexray-b``.
        cases: how many to ask.
        seed: of the random ones.
        watch: called with the share done.

    Raises:
        BadArgument: an argument out of range.
    """
    endpoint = CallableEndpoint(encoder=encoder)
    return run_challenge(endpoint, network=network, mode="encode", cases=cases, seed=seed, watch=watch)


def challenge_command(
    command: Sequence[str],
    *,
    network: str,
    mode: str = "decode",
    cases: int = 20_000,
    seed: int = 1,
    timeout: float = 5.0,
    watch: Watch | None = None,
) -> Report:
    """Challenge a command that reads cases on standard input and answers on standard output.

    Args:
        command: program and arguments; no shell is involved.
        network: name of a network, or of a configuration such as ``flexray-b``.
        mode: ``"decode"``, ``"encode"`` or ``"both"``.
        cases: how many to ask.
        seed: of the random ones.
        timeout: seconds without an answer after which the command counts as hanging.
        watch: called with the share done.

    Raises:
        BadArgument: an argument out of range, or a command that cannot be started.
    """
    endpoint = CommandEndpoint(command, timeout=timeout)
    return run_challenge(endpoint, network=network, mode=mode, cases=cases, seed=seed, watch=watch)
