"""How sparks reach each kind of link, and how its receiver decides: one file a link."""

from framesim.disturbance.links.can_fd import CanFdLink
from framesim.disturbance.links.ethernet import EthernetLink
from framesim.disturbance.links.flexray import FlexRayLink
from framesim.disturbance.links.lin import LinLink
from framesim.disturbance.links.receivers import receiver_of
from framesim.disturbance.links.sent import SentLink

__all__ = ["CanFdLink", "EthernetLink", "FlexRayLink", "LinLink", "SentLink", "receiver_of"]
