"""Every CRC of the catalogue against published values.

"The catalogue of CRC algorithms" is the public list whose check value is the CRC of ``123456789``.
"""

from dataclasses import replace

import pytest

from framesim.codes import Crc, crc, crc_from_polynomial, names
from framesim.errors import BadArgument

TEXT = b"123456789"

# name, check value, where it stands
CHECKS = [
    (
        "CRC-15/CAN",
        0x059E,
        "CAN Specification 2.0 (1991) Part B 3.1.1 (parameters); catalogue of CRC algorithms",
    ),
    (
        "CRC-17/CAN-FD",
        0x04F03,
        "CAN FD Specification 1.0 (2012) 3.2.1 (parameters); catalogue of CRC algorithms",
    ),
    (
        "CRC-21/CAN-FD",
        0x0ED841,
        "CAN FD Specification 1.0 (2012) 3.2.1 (parameters); catalogue of CRC algorithms",
    ),
    ("CRC-11/FLEXRAY", 0x5A3, "FlexRay PS 3.0.1 4.5.2 (parameters); catalogue of CRC algorithms"),
    ("CRC-24/FLEXRAY-A", 0x7979BD, "FlexRay PS 3.0.1 4.5.3 (parameters); catalogue of CRC algorithms"),
    ("CRC-24/FLEXRAY-B", 0x1F23B8, "FlexRay PS 3.0.1 4.5.3 (parameters); catalogue of CRC algorithms"),
    ("CRC-32/ETHERNET", 0xCBF43926, "IEEE 802.3 3.2.9 (parameters); catalogue of CRC algorithms"),
    ("CRC-8/SAE-J1850", 0x4B, "AUTOSAR SWS_CRCLibrary, CRC8"),
    ("CRC-8/8H2F", 0xDF, "AUTOSAR SWS_CRCLibrary, CRC8H2F"),
    ("CRC-16/CCITT", 0x29B1, "AUTOSAR SWS_CRCLibrary, CRC16"),
    ("CRC-16/ARC", 0xBB3D, "AUTOSAR SWS_CRCLibrary, CRC16ARC"),
    ("CRC-32/P4", 0x1697D06A, "AUTOSAR SWS_CRCLibrary, CRC32P4"),
    ("CRC-64", 0x995DC9BBDF1939FA, "AUTOSAR SWS_CRCLibrary, CRC64"),
    # Regression constants of our own: no check value is published for these presets.
    ("CRC-17/ISO-CAN-FD", 0x09D9B, "ours"),
    ("CRC-21/ISO-CAN-FD", 0x1323D8, "ours"),
]

# AUTOSAR SWS_CRCLibrary, example table: CRC8, 8H2F, CRC16, 16ARC, CRC32, CRC32P4, CRC64.
# The CRC64 column was read in a quotation of the document, the others in part; all agree with the definition.
AUTOSAR_COLUMNS = ("CRC8", "CRC8H2F", "CRC16", "CRC16ARC", "CRC32", "CRC32P4", "CRC64")
AUTOSAR_TABLE = """
00000000           59 12 84C0 0000 2144DF1C 6FB32240 F4A586351E1B9F4B
F20183             37 C2 D374 C2E1 24AB9D77 4F721A25 319C27668164F1C6
0FAA0055           79 C6 2023 0BE3 B6C9B287 20662DF8 54C5D0F7667C1575
00FF5511           B8 77 B8F9 6CCF 32A06212 9BD7996E A63822BE7E0704E6
332255AABBCCDDEEFF CB 11 F53F AE98 B0AE863D A65A343D 701ECEB219A8E5D5
926B55             8C 33 0745 E24E 9CDEA29B EE688A78 5FAA96A9B59F3E4E
FFFFFFFF           74 6C 1D0F 9401 FFFFFFFF FFFFFFFF FFFFFFFF00000000
"""


@pytest.mark.parametrize(("name", "check", "source"), CHECKS)
def test_the_text_123456789_gives_the_published_check_value(name: str, check: int, source: str) -> None:
    code = crc(name)
    assert code.of_bytes(TEXT) == check, source
    assert code.check == (None if source == "ours" else check)


def test_every_published_check_value_in_the_catalogue_is_tested_here() -> None:
    assert {name for name in names() if crc(name).check is not None} <= {name for name, _, _ in CHECKS}


@pytest.mark.parametrize("row", AUTOSAR_TABLE.split("\n")[1:-1], ids=lambda row: row.split()[0])
def test_the_example_table_of_the_autosar_crc_library_is_reproduced(row: str) -> None:
    message, *values = row.split()
    assert [int(value, 16) for value in values] == [
        crc(column).of_bytes(bytes.fromhex(message)) for column in AUTOSAR_COLUMNS
    ]


def test_ethernet_data_and_fcs_together_give_the_well_known_residue() -> None:
    # IEEE 802.3 3.2.9: CRC over data and FCS is 0x2144DF1C; before the xor 0xDEBB20E3 (mirrored)
    code = crc("CRC-32/ETHERNET")
    word = TEXT + code.of_bytes(TEXT).to_bytes(4, "little")
    assert code.of_bytes(word) == 0x2144DF1C
    assert code.of_bytes(word) ^ code.xor_out == 0xDEBB20E3
    assert int(f"{code.residue:032b}"[::-1], 2) == 0xDEBB20E3


def test_only_the_can_xl_codes_are_provisional() -> None:
    assert {name for name in names() if crc(name).provisional} == {"PCRC-13/CAN-XL", "FCRC-32/CAN-XL"}


def test_every_code_says_where_it_comes_from() -> None:
    assert all(crc(name).source for name in names())


@pytest.mark.parametrize("spelling", ["crc-15/can", "CRC_15/CAN", " Crc 15/can "])
def test_the_name_is_found_however_it_is_spelt(spelling: str) -> None:
    assert crc(spelling) is crc("CRC-15/CAN")


def test_an_unknown_name_is_refused_with_the_nearest_one() -> None:
    with pytest.raises(BadArgument, match=r"^name='CRC-15/CAM': .*did you mean CRC-15/CAN\?$"):
        crc("CRC-15/CAM")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"width": 0}, "width=0"),
        ({"width": 65}, "width=65"),
        ({"polynomial": 0x8000}, "polynomial=0x8000"),
        ({"polynomial": 0x4598}, "polynomial=0x4598"),
        ({"initial": 0x8000}, "initial=0x8000"),
        ({"xor_out": -1}, "xor_out=-0x1"),
        ({"check": 0x8000}, "check=0x8000"),
    ],
)
def test_a_record_that_does_not_fit_its_width_cannot_be_made(change: dict[str, int], message: str) -> None:
    with pytest.raises(BadArgument, match=f"^{message}: "):
        replace(crc("CRC-15/CAN"), **change)


def test_a_code_can_be_given_by_its_polynomial_alone() -> None:
    code = crc_from_polynomial(0x4599, 15)
    assert isinstance(code, Crc)
    assert code.of_bytes(TEXT) == crc("CRC-15/CAN").of_bytes(TEXT)
    assert code.name == "CRC-15/0x4599"
