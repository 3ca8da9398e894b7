"""What every report must say about its own reach."""

__all__ = ["CAUTION"]

CAUTION = (
    "For teaching and for comparing codes. Not an EMC test (ISO 11452, ISO 7637, CISPR 25) and not evidence for a "
    "safety case (ISO 26262, IEC 61508): those need the standards, measurement and competent assessment. Ignition "
    "circuits carry tens of kilovolts: never probe them."
)
