"""Whether 2^-r bounds what a CRC lets pass: decided without a tolerance, and how a claim about it says so."""

from fractions import Fraction
from math import exp, isclose, log1p

import pytest

from framesim.claims import of_codes
from framesim.claims.checking import decide_all
from framesim.claims.finding import Finding, Meets, Verdict
from framesim.claims.reading import claims_from_text
from framesim.codes import crc, crc_from_polynomial
from framesim.codes import width_bound as width_bounds
from framesim.codes.dual import dual_weights
from framesim.codes.width_bound import WidthBound, _holds, excess_at, width_bound
from framesim.codes.worst_case import Curve


def words_by_weight(generator: int, data_bits: int) -> dict[int, int]:
    """Return the number of code words of each weight but 0, each word formed."""
    counts: dict[int, int] = {}
    word = 0
    for step in range(1, 1 << data_bits):
        word ^= generator << ((step & -step).bit_length() - 1)
        counts[word.bit_count()] = counts.get(word.bit_count(), 0) + 1
    return counts


def exact_excess(generator: int, data_bits: int, ratio: Fraction) -> Fraction:
    """Return P(undetected) · 2^r - 1 as a fraction, summed over all words."""
    width = generator.bit_length() - 1
    length = data_bits + width
    words = words_by_weight(generator, data_bits)
    passing = sum(count * ratio**weight * (1 - ratio) ** (length - weight) for weight, count in words.items())
    return passing * 2**width - 1


@pytest.mark.parametrize(
    ("polynomial", "width", "data_bits"),
    [(0x7, 8, 3), (0x7, 8, 10), (0x9B, 8, 5), (0x1021, 16, 8), (0x385, 11, 9), (0x3, 4, 10), (0x1, 1, 3), (0x5, 3, 4)],
)
def test_the_bound_holds_exactly_where_no_ratio_of_a_fine_grid_exceeds_it(polynomial, width, data_bits):
    code = crc_from_polynomial(polynomial, width)
    bound = width_bound(code, data_bits)
    grid = [exact_excess(code.generator, data_bits, Fraction(step, 240)) for step in range(121)]
    assert bound.holds == (max(grid) <= 0)
    if not bound.holds:
        at = exact_excess(code.generator, data_bits, Fraction(bound.bit_error_ratio))
        assert at > 0
        assert isclose(bound.excess, float(at), rel_tol=1e-12)


def test_an_excess_that_no_float_beside_1_could_hold_has_its_sign_and_size():
    # At p = 1/2 each of 2^n words is as likely as another, and 2^k - 1 of them pass unseen: an excess of -2^-k.
    assert isclose(excess_at(crc("CRC-15/CAN"), 83, 0.5), -(2.0**-83), rel_tol=1e-12)
    assert isclose(excess_at(crc("CRC-15/CAN"), 1000, 0.5), -(2.0**-1000), rel_tol=1e-12)
    code = crc_from_polynomial(0x1021, 16)
    length, ratio = 116, Fraction(1, 4)
    duals = dual_weights(code.generator, length)
    rest = sum(count * (1 - 2 * ratio) ** weight for weight, count in duals.items() if weight)
    exact = rest - 2**16 * (1 - ratio) ** length
    assert 0 < exact < 1e-9
    assert isclose(excess_at(code, 100, 0.25), float(exact), rel_tol=1e-12)


def test_a_wrong_bound_is_found_though_it_is_exceeded_by_less_than_any_float_holds():
    """CRC-15 over 20,000 bits: two flips pass, and dual words are light."""
    bound = width_bound(crc("CRC-15/CAN"), 20_000)
    assert bound == WidthBound(holds=False, bit_error_ratio=0.125, excess=0.0)


@pytest.mark.parametrize(
    ("data_bits", "holds"), [(100, False), (213, False), (228, False), (237, False), (242, False), (243, True)]
)
def test_the_length_from_which_the_bound_holds_is_told_to_the_bit(data_bits, holds):
    """CRC-16/0x1021: 228 bits exceed 2^-16 by 1.5e-5 of it at most, 242 by some 1e-13; from 243 on none does."""
    code = crc_from_polynomial(0x1021, 16)
    bound = width_bound(code, data_bits)
    assert bound.holds is holds
    duals = dual_weights(code.generator, data_bits + 16)
    for ratio in [bound.bit_error_ratio] if not holds else [step / 64 for step in range(1, 33)]:
        exact = Fraction(ratio)
        rest = sum(count * (1 - 2 * exact) ** weight for weight, count in duals.items() if weight)
        excess = rest - 2**16 * (1 - exact) ** (data_bits + 16)
        assert (excess > 0) is not holds
        assert holds or isclose(bound.excess, float(excess), rel_tol=1e-12)


@pytest.mark.parametrize(("data_bits", "at"), [(8, 0.171), (100, 0.0474), (228, 0.0605), (242, 0.125)])
def test_no_piece_that_holds_a_ratio_at_which_more_passes_is_taken_for_one_that_keeps_the_bound(data_bits, at):
    code = crc_from_polynomial(0x1021, 16)
    curve = Curve(code, data_bits)
    assert excess_at(code, data_bits, at) > 0
    for half in (1e-12, 1e-7, 1e-4, 1e-3, 1e-2, at):
        assert not _holds(curve, at - half, at + half)
        assert not _holds(curve, at, at + half)
        assert not _holds(curve, at - half, at)


def test_the_tangent_of_the_clean_words_touches_them_and_lies_below():
    curve = Curve(crc("CRC-15/CAN"), 83)
    for p in (0.001, 0.1, 0.3, 0.49):
        log_z = log1p(-2 * p)
        value, slope = curve.log_clean_tangent(log_z)
        assert isclose(value, curve.log_clean(p), rel_tol=1e-12)
        for step in (-1.0, -0.1, -1e-4, 1e-4):
            other = (1 - exp(log_z + step)) / 2
            if 0 <= other < 0.5:
                above = curve.log_clean(other) - value - slope * step
                assert 0 <= above + 1e-12 <= 98 / 8 * step**2 + 2e-12  # n z / (1 + z)^2 is at most n / 4


def claimed(code: str) -> Finding:
    text = f'title = "t"\n[[claim]]\nid = "one"\ncode = {{ {code} }}\nasserts = {{ kind = "bounded-by-width" }}'
    return decide_all(claims_from_text(text, file="f")).findings[0]


def test_a_bound_that_holds_is_proven_and_bound_value_and_excess_are_told():
    finding = claimed('name = "CRC-15/CAN", data_bits = 83')
    assert (finding.verdict, finding.meets) == (Verdict.PROVEN, Meets.YES)
    assert finding.statement == (
        "no bit error ratio lets more than 2^-15 = 3.05e-05 pass; the highest value found is 3.05e-05, at a bit error "
        "ratio of 0.5, relative excess -1.03e-25."  # 2^-83
    )
    assert finding.figure is not None
    assert finding.figure.low <= finding.figure.high == finding.figure.limit == 2.0**-15


def test_a_bound_that_does_not_hold_is_refuted_and_bound_value_and_excess_are_told():
    finding = claimed("polynomial = 0x1021, width = 16, data_bits = 8")
    assert (finding.verdict, finding.meets) == (Verdict.REFUTED, Meets.NO)
    example = finding.counterexample.describe()
    ratio = Fraction(example["bit_error_ratio"])
    exact = exact_excess(0x11021, 8, ratio)
    assert isclose(example["relative_excess"], float(exact), rel_tol=1e-9)
    assert isclose(example["probability"], float((1 + exact) / 2**16), rel_tol=1e-9)
    assert f"the bound 2^-16 is 1.53e-05, the relative excess {float(exact):.3g}." in finding.statement
    assert finding.figure.low == example["probability"] <= finding.figure.high < 1.002 * finding.figure.low


@pytest.mark.parametrize(("data_bits", "excess"), [(228, 1.53e-5), (241, 5.06e-10), (242, 2.2e-13)])
def test_a_bound_exceeded_by_less_than_a_thousandth_is_refuted_and_not_called_within(data_bits, excess):
    finding = claimed(f"polynomial = 0x1021, width = 16, data_bits = {data_bits}")
    assert finding.verdict is Verdict.REFUTED
    assert isclose(finding.counterexample.more["relative_excess"], excess, rel_tol=0.05)


def test_an_excess_too_small_for_floats_refutes_as_well(monkeypatch):
    monkeypatch.setattr(of_codes, "SURE", 1e9)  # so that the highest value does not say it
    monkeypatch.setattr(of_codes, "excess_at", lambda *_: -1.0)
    finding = claimed('name = "CRC-15/CAN", data_bits = 2000')
    assert finding.verdict is Verdict.REFUTED
    assert "at a bit error ratio of 0.125 the code lets 3.05e-05 pass" in finding.statement
    assert "the relative excess 3.95e-106." in finding.statement
    assert "no bit error ratio lets more than 0.00202 pass" in finding.method  # 66.05 · 2^-15, and 0.1 % more
    finding = claimed('name = "CRC-15/CAN", data_bits = 20000')
    assert "relative excess positive, but smaller than any float." in finding.statement


def test_what_is_too_near_to_tell_is_neither_proven_nor_refuted(monkeypatch):
    monkeypatch.setattr(width_bounds, "_MOST_PIECES", 2)
    assert width_bound(crc("CRC-15/CAN"), 83).holds is None
    finding = claimed('name = "CRC-15/CAN", data_bits = 83')
    assert (finding.verdict, finding.meets) == (Verdict.BOUNDED, Meets.UNDECIDED)
    assert "nowhere is the excess above 0.001." in finding.statement
    assert finding.figure.low <= finding.figure.limit < finding.figure.high
