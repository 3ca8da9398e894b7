"""The CRCs of vehicle networks, as data: each with its source and how sure we are of it.

In the ``source`` texts "the public catalogue" is the catalogue of parametrised CRC algorithms, and
"from memory" means that the parameters were recalled and not read in the document named.
"""

from difflib import get_close_matches
from types import MappingProxyType

from framesim.codes.crc import Crc
from framesim.errors import BadArgument

__all__ = ["CATALOGUE", "crc", "names"]

_ALL_ONES_32 = 0xFFFF_FFFF
_ALL_ONES_64 = 0xFFFF_FFFF_FFFF_FFFF
_AUTOSAR = "AUTOSAR, Specification of CRC Routines (SWS_CRCLibrary)"
_FLEXRAY = "FlexRay Communications System Protocol Specification 2.1A and 3.0.1 (ISO 17458-2)"
_CAN_XL = "ISO 11898-1:2024 and CiA 610-1, polynomial from memory; preset and bit order are our assumption"

_ROWS = (
    Crc(
        name="CRC-15/CAN",
        width=15,
        polynomial=0x4599,
        check=0x059E,
        source="CAN Specification 2.0 (1991) Part B 3.1.1; the public catalogue",
        aliases=("CRC-15",),
    ),
    Crc(
        name="CRC-17/CAN-FD",
        width=17,
        polynomial=0x1685B,
        check=0x04F03,
        source="CAN FD Specification 1.0 (2012) 3.2.1, preset 0; the public catalogue",
    ),
    Crc(
        name="CRC-21/CAN-FD",
        width=21,
        polynomial=0x102899,
        check=0x0ED841,
        source="CAN FD Specification 1.0 (2012) 3.2.1, preset 0; the public catalogue",
    ),
    Crc(
        name="CRC-17/ISO-CAN-FD",
        width=17,
        polynomial=0x1685B,
        initial=0x10000,
        source="ISO 11898-1:2015, preset 1 followed by zeros from memory; no check value is published",
        aliases=("CRC-17",),
    ),
    Crc(
        name="CRC-21/ISO-CAN-FD",
        width=21,
        polynomial=0x102899,
        initial=0x100000,
        source="ISO 11898-1:2015, preset 1 followed by zeros from memory; no check value is published",
        aliases=("CRC-21",),
    ),
    Crc(
        name="PCRC-13/CAN-XL",
        width=13,
        polynomial=0x19E7,
        initial=0x1000,
        source=_CAN_XL,
        provisional=True,
        aliases=("CRC-13/CAN-XL", "PCRC-13", "CRC-13"),
    ),
    Crc(
        name="FCRC-32/CAN-XL",
        width=32,
        polynomial=0xF4ACFB13,
        initial=0x8000_0000,
        source=_CAN_XL,
        provisional=True,
        aliases=("CRC-32/CAN-XL", "FCRC-32"),
    ),
    Crc(
        name="CRC-11/FLEXRAY",
        width=11,
        polynomial=0x385,
        initial=0x01A,
        check=0x5A3,
        source=f"{_FLEXRAY}, 4.5.2; the public catalogue",
        aliases=("CRC-11",),
    ),
    Crc(
        name="CRC-24/FLEXRAY-A",
        width=24,
        polynomial=0x5D6DCB,
        initial=0xFEDCBA,
        check=0x7979BD,
        source=f"{_FLEXRAY}, 4.5.3, channel A; the public catalogue",
        aliases=("CRC-24", "CRC-24/FLEXRAY"),
    ),
    Crc(
        name="CRC-24/FLEXRAY-B",
        width=24,
        polynomial=0x5D6DCB,
        initial=0xABCDEF,
        check=0x1F23B8,
        source=f"{_FLEXRAY}, 4.5.3, channel B; the public catalogue",
    ),
    Crc(
        name="CRC-32/ETHERNET",
        width=32,
        polynomial=0x04C1_1DB7,
        initial=_ALL_ONES_32,
        reflected_in=True,
        reflected_out=True,
        xor_out=_ALL_ONES_32,
        check=0xCBF4_3926,
        source=f"IEEE 802.3 3.2.9; {_AUTOSAR}, CRC32; the public catalogue",
        aliases=("CRC-32", "CRC32", "CRC-32/802.3"),
    ),
    Crc(
        name="CRC-4/SENT",
        width=4,
        polynomial=0xD,
        # The standard's seed 0101 enters at the bottom of its register; see framesim.codes.sent_crc.
        initial=0x3,
        source="SAE J2716, recommended form (seed 0101, then the nibbles, then a zero nibble)",
        aliases=("CRC-4",),
    ),
    Crc(
        name="CRC-8/SAE-J1850",
        width=8,
        polynomial=0x1D,
        initial=0xFF,
        xor_out=0xFF,
        check=0x4B,
        source=f"{_AUTOSAR}, CRC8; the public catalogue",
        aliases=("CRC-8", "CRC8"),
    ),
    Crc(
        name="CRC-8/8H2F",
        width=8,
        polynomial=0x2F,
        initial=0xFF,
        xor_out=0xFF,
        check=0xDF,
        source=f"{_AUTOSAR}, CRC8H2F; the public catalogue",
        aliases=("CRC8H2F", "CRC-8/AUTOSAR"),
    ),
    Crc(
        name="CRC-16/CCITT",
        width=16,
        polynomial=0x1021,
        initial=0xFFFF,
        check=0x29B1,
        source=f"{_AUTOSAR}, CRC16 (preset FFFF, not reflected); the public catalogue",
        aliases=("CRC-16", "CRC16"),
    ),
    Crc(
        name="CRC-16/ARC",
        width=16,
        polynomial=0x8005,
        reflected_in=True,
        reflected_out=True,
        check=0xBB3D,
        source=f"{_AUTOSAR}, CRC16ARC; the public catalogue",
        aliases=("CRC16ARC",),
    ),
    Crc(
        name="CRC-32/P4",
        width=32,
        polynomial=0xF4AC_FB13,
        initial=_ALL_ONES_32,
        reflected_in=True,
        reflected_out=True,
        xor_out=_ALL_ONES_32,
        check=0x1697_D06A,
        source=f"{_AUTOSAR}, CRC32P4; the public catalogue",
        aliases=("CRC32P4", "CRC-32/AUTOSAR"),
    ),
    Crc(
        name="CRC-64",
        width=64,
        polynomial=0x42F0_E1EB_A9EA_3693,
        initial=_ALL_ONES_64,
        reflected_in=True,
        reflected_out=True,
        xor_out=_ALL_ONES_64,
        check=0x995D_C9BB_DF19_39FA,
        source=f"{_AUTOSAR}, CRC64; the public catalogue",
        aliases=("CRC64", "CRC-64/AUTOSAR"),
    ),
)

CATALOGUE = MappingProxyType({row.name: row for row in _ROWS})  #: every CRC by its name, in reading order


def _key(name: str) -> str:
    return name.strip().casefold().replace("_", "-").replace(" ", "-")


_BY_KEY = {_key(name): row for row in _ROWS for name in (*row.aliases, row.name)}


def names() -> tuple[str, ...]:
    """Return the catalogue's names, in reading order."""
    return tuple(CATALOGUE)


def crc(name: str) -> Crc:
    """Return the CRC called ``name``; upper or lower case, blank, ``_`` or ``-`` make no difference.

    Raises:
        BadArgument: no CRC is called so; the message names the nearest.

    >>> crc("crc-15/can").width
    15
    """
    if not isinstance(name, str):
        raise BadArgument(f"name={name!r}: expected text, got {type(name).__name__}")
    found = _BY_KEY.get(_key(name))
    if found is None:
        near = get_close_matches(_key(name), _BY_KEY, n=1, cutoff=0.4)
        hint = f"did you mean {_BY_KEY[near[0]].name}?" if near else f"known are {', '.join(CATALOGUE)}"
        raise BadArgument(f"name={name!r}: no CRC is called so; {hint}")
    return found
