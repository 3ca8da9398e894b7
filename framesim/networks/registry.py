"""Which networks there are. One line each; a network's module is imported when it is first asked for."""

from difflib import get_close_matches
from importlib import import_module
from typing import Any

from framesim.errors import BadArgument
from framesim.networks.network import Network

__all__ = ["names", "network", "network_of", "register"]

_PLACES: dict[str, str] = {
    "can": "framesim.networks.can:CAN",
}

_FRAME_TYPES: dict[str, str] = {
    "CanFrame": "can",
}

_EXTRA: dict[str, Network] = {}


def register(network: Network) -> None:
    """Add a network of your own, for this process.

    Raises:
        BadArgument: the name is taken by another network.
    """
    if network.name in _PLACES or _EXTRA.get(network.name, network) is not network:
        raise BadArgument(f"network={network.name!r}: the name is taken")
    _EXTRA[network.name] = network


def names() -> tuple[str, ...]:
    """Return the names of all networks."""
    return (*_PLACES, *_EXTRA)


def network(name: str) -> Network:
    """Return the network called ``name``.

    Raises:
        BadArgument: there is none; the message suggests the nearest.
    """
    if name in _EXTRA:
        return _EXTRA[name]
    if name not in _PLACES:
        near = get_close_matches(name, names(), n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise BadArgument(f"network={name!r}: must be one of {', '.join(names())}{hint}")
    module, _, attribute = _PLACES[name].partition(":")
    found: Network = getattr(import_module(module), attribute)
    return found


def network_of(frame: Any) -> Network:
    """Return the network that ``frame`` belongs to.

    Raises:
        BadArgument: it is no frame of any known network.
    """
    for extra in _EXTRA.values():
        if type(frame) is extra.frame_type:
            return extra
    name = _FRAME_TYPES.get(type(frame).__name__)
    if name is None or type(frame) is not network(name).frame_type:
        raise BadArgument(f"frame={frame!r}: expected a frame of one of {', '.join(names())}")
    return network(name)
