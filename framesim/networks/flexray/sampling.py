"""A FlexRay receiver that is given samples: it votes, strobes, and realigns its bit clock at certain edges.

Those edges are the first of a transmission and the one in each byte start (FlexRay Protocol Specification
3.0.1, 3.2.3 bit clock alignment and bit strobing; from memory).
"""

from collections.abc import Iterable

from framesim.linecoding.majority import MajorityStrobe
from framesim.networks import registry
from framesim.networks.network import Network
from framesim.networks.receiver import Receiver, Reception
from framesim.networks.transitions import HUNTING

__all__ = ["SampledReceiver", "receive_samples"]


class SampledReceiver:
    """A receiver fed one sample at a time.

    Attributes:
        receiver: the receiver that gets the strobed bits; it counts bits, not samples.
    """

    def __init__(self, network: Network, *, strict: bool = True) -> None:
        self.receiver = Receiver(network, strict=strict)
        self._strobe = MajorityStrobe(idle=network.layout.idle)
        self._strobe.armed = True

    def feed(self, samples: Iterable[int]) -> Reception | None:
        """Take samples; return the verdict once it stands, else None. Further samples change nothing."""
        for sample in samples:
            if self.receiver.done:
                break
            bit = self._strobe.push(sample)
            if bit is not None:
                self.receiver.feed((bit,))
                self._strobe.armed = self._edge_wanted()
        return self.receiver.reception() if self.receiver.done else None

    def _edge_wanted(self) -> bool:
        if self.receiver.state == HUNTING:
            return True
        return bool(getattr(self.receiver.decoder, "edge_due", False))


def receive_samples(samples: Iterable[int], network: str | Network = "flexray") -> Reception:
    """Return what a receiver makes of ``samples``, eight a bit; never raises on any samples.

    ``at`` and ``valid_at`` of the answer count strobed bits.

    Raises:
        BadArgument: no such network.
    """
    receiver = SampledReceiver(registry.network(network) if isinstance(network, str) else network)
    receiver.feed(samples)
    return receiver.receiver.finish()
