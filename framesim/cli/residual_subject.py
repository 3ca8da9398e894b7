"""Which frames ``framesim residual`` is asked about: one, a list, payloads within bounds, or the worst found."""

import argparse
from pathlib import Path
from typing import Any

from framesim.cli.frame_options import frame_from, octets
from framesim.cli.output import share_bar
from framesim.cli.parsing import LineParser, whole_number
from framesim.errors import BadArgument, BadInput, check_range
from framesim.networks.network import Network

__all__ = ["add_subject_options", "frames_of"]

MOST_LISTED = 100_000
LONGEST_PAYLOAD = 4096
DEFAULT_IDENTIFIER = {"can": "0x123", "can-fd": "0x123"}  # the answer says which was taken


def add_subject_options(parser: LineParser) -> None:
    """Add the options that say which payloads are meant, where it is not the one of ``--payload``."""
    which = parser.add_argument_group("payloads, instead of the one of --payload")
    which.add_argument("--payload-bytes", metavar="N", help="random payloads of N bytes")
    which.add_argument("--payload-low", metavar="HEX", help="random payloads: smallest value of each byte")
    which.add_argument("--payload-high", metavar="HEX", help="random payloads: largest value of each byte")
    which.add_argument(
        "--payloads", metavar="FILE", help="a list: a payload in hex a line, after it how often; # notes"
    )
    which.add_argument(
        "--worst-payload",
        choices=("1", "2"),
        help="with --payload-bytes: the payload found that lets most single flips (1) or pairs of flips (2) pass",
    )
    which.add_argument("--tries", metavar="N", help="payloads looked at for the worst; 100000 unless said")
    which.add_argument("--seed", metavar="N", help="of the payloads drawn; 1 unless said")


def frames_of(values: argparse.Namespace, network: Network) -> tuple[Any, dict[str, Any]]:
    """Return the frame or the population that the options describe, and what else is to be said about it.

    Raises:
        BadArgument: options that do not go together, or a value out of range.
        BadInput: the list cannot be read; the message names file, line and expected form.
    """
    bounded = values.payload_low is not None or values.payload_high is not None
    asked = [
        name
        for name, given in (("--payload-bytes", values.payload_bytes), ("--payloads", values.payloads))
        if given is not None
    ]
    if not asked and not bounded:
        for name in ("worst_payload", "tries", "seed"):
            if getattr(values, name) is not None:
                raise BadArgument(f"--{name.replace('_', '-')}: does nothing without --payload-bytes")
        return frame_from(values, network.frame_type), {}
    if len(asked) == 2 or (values.payloads is not None and bounded):
        raise BadArgument("--payloads: stands beside options for random payloads; say one of them")
    if getattr(values, "payload", None) is not None:
        raise BadArgument(f"--payload: stands beside {asked[0] if asked else '--payload-low'}; say one of them")
    if not hasattr(values, "payload"):
        raise BadArgument(
            f"{asked[0] if asked else '--payload-low'}: frames of {network.name} have no payload of bytes"
        )
    if getattr(values, "identifier", "") is None:
        if network.name not in DEFAULT_IDENTIFIER:
            raise BadArgument("--identifier: missing")
        values.identifier = DEFAULT_IDENTIFIER[network.name]
    if values.payloads is not None:
        return _listed(values, network), {"file": values.payloads}
    return _random(values, network)


def _random(values: argparse.Namespace, network: Network) -> tuple[Any, dict[str, Any]]:
    from framesim.coverage.population import Payloads

    bounds = {
        side: octets(f"--payload-{side}", getattr(values, f"payload_{side}"))
        for side in ("low", "high")
        if getattr(values, f"payload_{side}") is not None
    }
    if values.payload_bytes is not None:
        n_bytes = whole_number("--payload-bytes", values.payload_bytes)
        check_range("--payload-bytes", n_bytes, 0, LONGEST_PAYLOAD, base="d")
    else:
        n_bytes = len(next(iter(bounds.values())))
    for side, bound in bounds.items():
        if len(bound) != n_bytes:
            raise BadArgument(f"--payload-{side}: {len(bound)} bytes; expected {n_bytes}")
    seed = 1 if values.seed is None else whole_number("--seed", values.seed)
    values.payload = "00" * n_bytes
    frame = frame_from(values, network.frame_type)
    if values.worst_payload is not None:
        if bounds:
            raise BadArgument("--worst-payload: is searched among all payloads; leave the bounds out")
        return _worst(values, frame, seed)
    if values.tries is not None:
        raise BadArgument("--tries: does nothing without --worst-payload")
    return Payloads(frame=frame, seed=seed, **bounds), {}


def _worst(values: argparse.Namespace, frame: Any, seed: int) -> tuple[Any, dict[str, Any]]:
    from framesim.coverage.exact.worst import worst_payload

    tries = {} if values.tries is None else {"tries": whole_number("--tries", values.tries)}
    same_end = values.counted == "same_end"
    flips = 1 if values.worst_payload == "1" else 2
    with share_bar("searching") as show:
        found = worst_payload(frame, flips=flips, same_end=same_end, seed=seed, progress=show, **tries)  # type: ignore[arg-type]
    of = "single flips" if flips == 1 else "pairs of flips"
    note = f"the worst found of {found.tried:,} payloads tried (seed {seed}), by undetected {of}; there may be worse"
    return found.frame, {"chosen": note}


def _listed(values: argparse.Namespace, network: Network) -> Any:
    from framesim.coverage.population import Listed

    if values.worst_payload is not None or values.tries is not None or values.seed is not None:
        raise BadArgument("--payloads: a list is taken whole; leave --worst-payload, --tries and --seed out")
    path = values.payloads
    try:
        lines = Path(path).read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise BadInput(f"{path}: cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path}: not text in UTF-8; expected one payload in hex a line") from None
    frames, weights = [], []
    for number, line in enumerate(lines, 1):
        words = line.partition("#")[0].split()
        if not words:
            continue
        try:
            if len(words) > 2:
                raise BadArgument("expected a payload in hex and, after it, how often it is sent")
            values.payload = "" if words[0] == "-" else words[0]
            frames.append(frame_from(values, network.frame_type))
            weights.append(float(words[1]) if len(words) == 2 else 1.0)
        except (BadArgument, ValueError) as error:
            raise BadInput(f"{path}: line {number}: {error}") from None
        if len(frames) > MOST_LISTED:
            raise BadInput(f"{path}: more than {MOST_LISTED:,} payloads; list fewer")
    if not frames:
        raise BadInput(f"{path}: holds no payload; expected one in hex a line, - for an empty one")
    try:
        return Listed(frames=frames, weights=weights)
    except BadArgument as error:
        raise BadInput(f"{path}: {error}") from None
