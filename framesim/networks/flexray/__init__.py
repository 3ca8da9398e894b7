"""FlexRay: static and dynamic frames on two channels, slots, the comparison of channels, and oversampling."""

from framesim.networks.flexray.channels import compare_channels, same_content
from framesim.networks.flexray.format import (
    FLEXRAY,
    FLEXRAY_B,
    FLEXRAY_B_DYNAMIC,
    FLEXRAY_DYNAMIC,
    cluster,
)
from framesim.networks.flexray.frame import FlexRayFrame
from framesim.networks.flexray.sampling import SampledReceiver, receive_samples
from framesim.networks.flexray.slots import in_slot

__all__ = [
    "FLEXRAY",
    "FLEXRAY_B",
    "FLEXRAY_B_DYNAMIC",
    "FLEXRAY_DYNAMIC",
    "FlexRayFrame",
    "SampledReceiver",
    "cluster",
    "compare_channels",
    "in_slot",
    "receive_samples",
    "same_content",
]
