"""``framesim codes``: what a person types and sees."""

import csv
import io
import json
from dataclasses import replace

import pytest

from framesim.cli.codes import run
from framesim.codes import crc, crc_from_polynomial, names
from framesim.errors import BadArgument, BadInput
from framesim.report.code_card import CodeCard, code_card
from framesim.report.code_card_text import draw_card
from framesim.report.terminal import screen

CAN_CARD = """\
CRC-15/CAN: 15 check bits, polynomial 0x4599
generator x^15 + x^14 + x^10 + x^8 + x^7 + x^4 + x^3 + 1
= (x + 1) (x^7 + x^3 + 1) (x^7 + x^3 + x^2 + x + 1)
order of x: 127; in longer words two flips can pass
preset 0x0, bytes enter most significant bit first, then xor 0x0
check value of 123456789: 0x59e
source: CAN Specification 2.0 (1991) Part B 3.1.1; the public catalogue

How long the distance is held
Hamming distance at least  up to data bits
6                                      112
8                                        7

At 83 data bits and 15 check bits, 98 in all
Any 5 flips or fewer are caught (Hamming distance 6).
These 6 flips pass: bits 0, 9, 13, 18, 21, 22 (0 is the first data bit).

Patterns that pass
flips  undetected patterns  of all patterns  share x 2^width
1                        0               98             none
2                        0             4753             none
3                        0           152096             none
4                        0          3612280             none
5                        0         67910864             none
6                    66202        1.053e+09             2.06

Independent flips of every bit (exact)
bit error ratio  P(undetected)  x 2^width  per hit word
1e-06               6.6196e-32   2.17e-27     6.755e-28
1e-05               6.6141e-26   2.17e-21     6.752e-23
0.0001              6.5596e-20   2.15e-15     6.726e-18
0.001               6.0389e-14   1.98e-09     6.466e-13
0.01                2.6653e-08   0.000873     4.254e-08
0.1                 2.9418e-05      0.964     2.942e-05
0.5                 3.0518e-05          1     3.052e-05

2^-15 = 3.0518e-05 is an upper bound here, for every bit error ratio up to 1/2:
the highest value found is 3.0518e-05, at the bit error ratio 0.5, relative
excess -1.03e-25.

Bursts: every burst of up to 15 bits is caught; of those of 16 bits, 1 in 16384
passes; of longer ones 1 in 32768.

Flips are those of the bits that the CRC sees, data and check bits alike. On a
line with stuffing or a line code one flip of the wire may change many of them:
framesim residual counts that.
"""


def drawn(card, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    paper = io.StringIO()
    draw_card(screen(paper), card)
    return "".join(f"{line.rstrip()}\n" for line in paper.getvalue().splitlines())


def test_the_card_of_the_can_crc_reads_so(monkeypatch):
    assert drawn(code_card(crc("CRC-15/CAN"), 83), monkeypatch) == CAN_CARD


def test_a_card_says_so_where_two_to_the_minus_r_is_no_bound(monkeypatch):
    text = drawn(code_card(crc_from_polynomial(0x1021, 16), 8), monkeypatch)
    said = " ".join(text.split())
    assert "2^-16 = 1.5259e-05 is no upper bound here: the highest value found is 1.6876e-04" in said
    assert "at the bit error ratio 0.1712, relative excess 10.1." in said


@pytest.mark.parametrize(("data_bits", "verdict"), [(242, "is no upper bound"), (243, "is an upper bound")])
def test_a_card_calls_nothing_a_bound_that_is_exceeded_by_ever_so_little(data_bits, verdict, monkeypatch):
    card = CodeCard(code=crc_from_polynomial(0x1021, 16), data_bits=data_bits)
    card.worst = card.code.worst_case(data_bits)
    text = drawn(card, monkeypatch)
    assert f"2^-16 = 1.5259e-05 {verdict} here" in text
    assert "0.1 %" not in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert card.record()["worst_case"]["bounded_by_2_to_minus_width"] is (data_bits == 243)
    assert (card.record()["worst_case"]["relative_excess"] > 0) is (data_bits == 242)


def test_a_card_says_of_a_bound_that_is_not_settled_that_it_is_not(monkeypatch):
    card = CodeCard(code=crc("CRC-15/CAN"), data_bits=83)
    card.worst = replace(card.code.worst_case(83), bounded=None)
    text = " ".join(drawn(card, monkeypatch).split())
    assert "Whether 2^-15 = 3.0518e-05 is an upper bound here is not settled: the highest value found is" in text
    assert card.record()["worst_case"]["bounded_by_2_to_minus_width"] is None


def test_a_card_of_a_provisional_code_says_so(monkeypatch):
    text = drawn(code_card(crc("PCRC-13/CAN-XL"), 20), monkeypatch)
    assert "Provisional" in text
    assert "our assumption" in " ".join(text.split())


def test_what_cannot_be_computed_is_missing_and_said_once(monkeypatch):
    card = code_card(crc("CRC-64"), 500)
    assert card.probabilities is None
    assert card.worst is None
    assert len(card.refusals) == len(set(card.refusals)) >= 1
    text = " ".join(drawn(card, monkeypatch).split())
    assert text.count("all weights of a code with width=64, length=564") == 1
    assert "P(undetected)" not in text


def test_the_json_holds_what_the_methods_return(capsys):
    assert run(["crc-15/can", "--data-bits", "83", "--json", "--bit-error-ratio", "2e-3"]) == 0
    record = json.loads(capsys.readouterr().out)
    code = crc("CRC-15/CAN")
    assert record["name"] == "CRC-15/CAN"
    assert record["hamming_distance"] == 6
    assert record["weights"]["6"] == 66202
    assert record["longest_at_distance"]["6"] == 112
    assert record["undetected_probability"]["0.002"] == code.undetected_probability(83, 2e-3)
    assert record["worst_case"]["bounded_by_2_to_minus_width"] is True
    assert record["undetected_bursts"]["15"] == 0
    assert record["refusals"] == []


def test_a_polynomial_may_stand_in_place_of_a_name(capsys):
    assert run(["--polynomial", "0x4599", "--width", "15", "--data-bits", "16", "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["name"] == "CRC-15/0x4599"
    assert record["weights"]["6"] == 39


def test_the_curve_can_be_read_back_and_rises_to_two_to_the_minus_r(tmp_path):
    target = tmp_path / "curve.csv"
    assert run(["crc-15/can", "--data-bits", "83", "--plot-data", str(target)]) == 0
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 88
    code = crc("CRC-15/CAN")
    for row in rows[::9]:
        expected = code.undetected_probability(83, float(row["bit_error_ratio"]))
        assert float(row["undetected_probability"]) == pytest.approx(expected, rel=1e-12)
        assert float(row["undetected_per_hit_word"]) >= expected
    assert float(rows[-1]["times_2_to_width"]) == pytest.approx(1.0)
    values = [float(row["undetected_probability"]) for row in rows]
    assert values == sorted(values)


def test_without_a_name_the_whole_catalogue_is_listed(capsys):
    assert run(["--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["codes"]
    assert [row["name"] for row in listed] == list(names())
    assert run([]) == 0
    drawn_list = capsys.readouterr().out
    assert all(name in drawn_list for name in names())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["CRC-15/CAM"], r"^name='CRC-15/CAM': no CRC is called so; did you mean CRC-15/CAN\?$"),
        (["crc-15", "--polynomial", "3"], "^polynomial: cannot stand beside a name"),
        (["--width", "3"], "^width: stands only beside --polynomial"),
        (["--polynomial", "3"], "^width: missing"),
        (["--polynomial", "0x10", "--width", "3"], r"^polynomial=0x10: must lie in 0x1\.\.0x7"),
        (["--polynomial", "0x2", "--width", "3"], "^polynomial=0x2: its lowest bit must be 1"),
        (["crc-15", "--data-bits", "0"], "^data-bits=0: must lie in 1"),
        (["crc-15", "--data-bits", "many"], "^data-bits='many': expected a whole number"),
        (["--data-bits", "3"], "^name: missing; --data-bits needs a CRC"),
        (["crc-15", "--bit-error-ratio", "0"], "^bit-error-ratio=0.0: must be more than 0"),
    ],
)
def test_a_slip_is_told_in_one_line(words, message):
    with pytest.raises(BadArgument, match=message):
        run(words)


def test_a_file_that_cannot_be_written_is_told():
    with pytest.raises(BadInput, match="cannot be written"):
        run(["crc-4", "--data-bits", "9", "--plot-data", "/nowhere/at/all.csv"])
