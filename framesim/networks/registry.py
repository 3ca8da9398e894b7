"""Which networks there are. One line each; a network's module is imported when it is first asked for."""

from difflib import get_close_matches
from importlib import import_module
from typing import Any

from framesim.errors import BadArgument
from framesim.networks.network import Network

__all__ = ["base_name", "configured", "names", "network", "network_of", "register"]

_PLACES: dict[str, str] = {
    "can": "framesim.networks.can:CAN",
    "can-fd": "framesim.networks.can_fd:CAN_FD",
    "can-xl": "framesim.networks.can_xl:CAN_XL",
    "lin": "framesim.networks.lin:LIN",
    "flexray": "framesim.networks.flexray:FLEXRAY",
    "ethernet": "framesim.networks.ethernet:ETHERNET",
    "sent": "framesim.networks.sent:SENT",
}

# Configurations of a network that have a name of their own but are no network of their own.
_VARIANTS: dict[str, str] = {
    "can-fd-original": "framesim.networks.can_fd:CAN_FD_ORIGINAL",
    "flexray-b": "framesim.networks.flexray:FLEXRAY_B",
    "flexray-dynamic": "framesim.networks.flexray:FLEXRAY_DYNAMIC",
    "flexray-b-dynamic": "framesim.networks.flexray:FLEXRAY_B_DYNAMIC",
}

_FRAME_TYPES: dict[str, str] = {
    "CanFrame": "can",
    "CanFdFrame": "can-fd",
    "CanXlFrame": "can-xl",
    "EthernetFrame": "ethernet",
    "FlexRayFrame": "flexray",
    "LinFrame": "lin",
    "SentFrame": "sent",
}

_EXTRA: dict[str, Network] = {}


def register(network: Network) -> None:
    """Add a network of your own, for this process.

    Raises:
        BadArgument: the name, or the frame type, belongs to another network.
    """
    taken = network.name in _PLACES or network.name in _VARIANTS
    if taken or _EXTRA.get(network.name, network) is not network:
        raise BadArgument(f"network={network.name!r}: the name is taken")
    owner = _owner(network.frame_type)
    if owner not in (None, network.name):
        raise BadArgument(f"frame_type={network.frame_type.__name__}: belongs to network {owner!r}")
    _EXTRA[network.name] = network


def names() -> tuple[str, ...]:
    """Return the names of all networks."""
    return (*_PLACES, *_EXTRA)


def base_name(name: str) -> str:
    """Return the name of the network whose options describe a network's frames: ``can-fd`` for ``can-fd-original``."""
    return name if name in names() else max((each for each in names() if name.startswith(each)), key=len)


def network(name: str) -> Network:
    """Return the network, or the configuration of one, called ``name``.

    Raises:
        BadArgument: there is none; the message suggests the nearest.
    """
    if name in _EXTRA:
        return _EXTRA[name]
    place = _PLACES.get(name) or _VARIANTS.get(name)
    if place is None:
        near = get_close_matches(name, names(), n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise BadArgument(f"network={name!r}: must be one of {', '.join(names())}{hint}")
    module, _, attribute = place.partition(":")
    found: Network = getattr(import_module(module), attribute)
    return found


def _owner(frame_type: type) -> str | None:
    """Return the network whose frames are of ``frame_type``."""
    for extra in _EXTRA.values():
        if extra.frame_type is frame_type:
            return extra.name
    name = _FRAME_TYPES.get(frame_type.__name__)
    return name if name is not None and network(name).frame_type is frame_type else None


def network_of(frame: Any) -> Network:
    """Return the network that ``frame`` belongs to, configured as the frame's receivers are.

    Raises:
        BadArgument: it is no frame of any known network.
    """
    name = _owner(type(frame))
    if name is None:
        raise BadArgument(f"frame={frame!r}: expected a frame of one of {', '.join(names())}")
    return configured(network(name), frame)


def configured(found: Network, frame: Any) -> Network:
    """Return ``found`` as the receivers of ``frame`` are configured."""
    return found if found.configured_for is None else found.configured_for(frame)
