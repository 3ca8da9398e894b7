"""Our CRCs against general-purpose libraries: crccheck, zlib, crcmod."""

import zlib

import crccheck.crc as crccheck
import crcmod
import pytest
from hypothesis import given
from hypothesis import strategies as st

from framesim.codes import Crc, crc

# Two traps: crccheck's Crc16Ccitt and Crc64 are other codes than AUTOSAR's CRC16 and CRC64.
CRCCHECK = {
    "CRC-15/CAN": crccheck.Crc15Can,
    "CRC-17/CAN-FD": crccheck.Crc17CanFd,
    "CRC-21/CAN-FD": crccheck.Crc21CanFd,
    "CRC-11/FLEXRAY": crccheck.Crc11Flexray,
    "CRC-24/FLEXRAY-A": crccheck.Crc24FlexrayA,
    "CRC-24/FLEXRAY-B": crccheck.Crc24FlexrayB,
    "CRC-32/ETHERNET": crccheck.Crc32,
    "CRC-8/SAE-J1850": crccheck.Crc8SaeJ1850,
    "CRC-8/8H2F": crccheck.Crc8Autosar,
    "CRC-16/CCITT": crccheck.Crc16Ibm3740,
    "CRC-16/ARC": crccheck.Crc16Arc,
    "CRC-32/P4": crccheck.Crc32Autosar,
    "CRC-64": crccheck.Crc64Xz,
}


@pytest.mark.parametrize("name", CRCCHECK)
@given(data=st.binary(max_size=80))
def test_ours_equals_crccheck(name: str, data: bytes) -> None:
    assert crc(name).of_bytes(data) == CRCCHECK[name].calc(data)


def _every_code_of_crccheck() -> list[type]:
    found = {
        code
        for code in vars(crccheck).values()
        if isinstance(code, type)
        and getattr(code, "_check_result", None) is not None
        and hasattr(code, "_poly")
        and 1 <= code._width <= 64
    }
    return sorted(found, key=lambda code: code.__name__)


@pytest.mark.parametrize("theirs", _every_code_of_crccheck(), ids=lambda code: code.__name__)
def test_any_code_that_crccheck_carries_can_be_written_as_our_record(theirs: type) -> None:
    ours = Crc(
        name=theirs.__name__,
        width=theirs._width,
        polynomial=theirs._poly,
        initial=theirs._initvalue,
        reflected_in=theirs._reflect_input,
        reflected_out=theirs._reflect_output,
        xor_out=theirs._xor_output,
    )
    assert ours.of_bytes(theirs._check_data) == theirs._check_result
    text = bytes(range(0, 256, 7))
    assert ours.of_bytes(text) == theirs.calc(text)


@given(data=st.binary(max_size=300))
def test_ours_equals_zlib(data: bytes) -> None:
    assert crc("CRC-32/ETHERNET").of_bytes(data) == zlib.crc32(data)


CRCMOD_WIDTHS = (8, 16, 24, 32, 64)


@pytest.mark.parametrize("name", [row for row in CRCCHECK if crc(row).width in CRCMOD_WIDTHS])
@given(data=st.binary(max_size=80))
def test_ours_equals_crcmod(name: str, data: bytes) -> None:
    code = crc(name)
    if code.reflected_in:  # crcmod takes the start value as the caller sees it, after the xor
        theirs = crcmod.mkCrcFun(code.generator, code.initial ^ code.xor_out, rev=True, xorOut=code.xor_out)
    else:
        theirs = crcmod.mkCrcFun(code.generator, code.initial ^ code.xor_out, rev=False, xorOut=code.xor_out)
    assert code.of_bytes(data) == theirs(data)


@pytest.mark.parametrize("name", ["CRC-15/CAN", "CRC-17/CAN-FD", "CRC-21/CAN-FD", "CRC-11/FLEXRAY"])
@given(data=st.binary(max_size=80))
def test_ours_equals_crcmod_with_the_polynomial_lifted_to_a_degree_it_takes(name: str, data: bytes) -> None:
    # remainder of m·x^(r+k) by g·x^k is (remainder of m·x^r by g)·x^k; the preset is lifted with it
    code = crc(name)
    lift = min(width for width in CRCMOD_WIDTHS if width >= code.width) - code.width
    theirs = crcmod.mkCrcFun(code.generator << lift, code.initial << lift, rev=False, xorOut=0)
    assert code.of_bytes(data) == theirs(data) >> lift
