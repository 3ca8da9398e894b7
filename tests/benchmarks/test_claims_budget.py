"""Whether claims of every kind keep to their budget: pytest -m slow -s tests/benchmarks/test_claims_budget.py.

Processor time is measured, so a busy machine is not a slow program. Costs are fixed figures of one machine, and what
shows a counterexample may take as long again as what found that there is one; the start of compiled loops is beside.
"""

import time

import pytest

from framesim.claims.checking import decide_all
from framesim.claims.claim import ASSERTIONS
from framesim.claims.reading import claims_from_text

pytestmark = pytest.mark.slow

BUDGET_S = 2.0
FACTOR = 2.5
START_S = 2.0

LISTED = ", ".join(f'"{number:08x}"' for number in range(1000))
FRAMES = {
    "can": 'network = "can", identifier = 0x482, payload = "3B18D3BF5B60C105"',
    "can, a list": f'network = "can", identifier = 0x482, payload = {{ list = [{LISTED}] }}',
    "can, random": 'network = "can", identifier = 0x482, payload = { random = 8 }',
    "can, random byte": 'network = "can", identifier = 0x482, payload = { random = 1 }',
    "can, worst": 'network = "can", identifier = 0x482, payload = { worst = 8 }',
    "can-fd": f'network = "can-fd", identifier = 0x123, payload = "{"5A" * 64}"',
    "can-fd, a list": f'network = "can-fd", identifier = 0x123, payload = {{ list = [{LISTED}] }}',
    "can-fd, worst": 'network = "can-fd", identifier = 0x123, payload = { worst = 64 }',
    "can-xl": f'network = "can-xl", identifier = 0x123, payload = "{"5A" * 2048}"',
    "lin": 'network = "lin", identifier = 0x11, payload = "1234567890abcdef"',
    "lin, a list": f'network = "lin", identifier = 0x11, payload = {{ list = [{LISTED}] }}',
    "lin, worst": 'network = "lin", identifier = 0x11, payload = { worst = 8 }',
    "flexray": f'network = "flexray", frame_id = 12, payload = "{"5A" * 254}"',
    "flexray, random": 'network = "flexray", frame_id = 12, payload = { random = 254 }',
    "ethernet": 'network = "ethernet", destination = "ffffffffffff", source = "020000000001", ethertype = 0x88B5, '
    f'payload = "{"5A" * 1500}"',
    "sent": 'network = "sent", status = 1, nibbles = [1, 2, 3, 4, 5, 6]',
}
CODES = {
    "CRC-15": 'name = "CRC-15/CAN", data_bits = 20_000',
    "CRC-24": 'name = "CRC-24/FLEXRAY-A", data_bits = 2096',
    "CRC-32": 'name = "CRC-32/ETHERNET", data_bits = 12_112',
    "CRC-64": 'name = "CRC-64", data_bits = 100_000',
    "16 bits": "polynomial = 0x1021, width = 16, data_bits = 100_000",
}
CAUSES = {
    "scatter": 'kind = "scatter", bit_error_ratio = 1e-4',
    "rare states": 'kind = "gilbert-elliott", good_to_bad = 1e-7, bad_to_good = 0.05',
    "ignition": 'kind = "ignition", severity = "fault"',
}
#: kind → what it asserts, and whether of frames or of codes
ASSERTED = {
    "detects-flips": ("up_to = 6", FRAMES),
    "detects-bursts": ("up_to = 30", FRAMES | CODES),
    "residual-at-most": ("probability = 1e-9", FRAMES),
    "per-hour-at-most": ("rate = 1.0, frames_per_second = 100", FRAMES),
    "first-to-speak": ('check = "crc", at_least = 0.5', FRAMES),
    "distance-at-least": ("distance = 8", CODES),
    "bounded-by-width": ("", CODES),
}


def claims() -> list[tuple[str, str, str]]:
    """Return kind, name and text of every claim: each kind of claim on each frame or code, under each cause."""
    rows = []
    for kind, (keys, subjects) in ASSERTED.items():
        asserts = f'asserts = {{ kind = "{kind}"{", " if keys else ""}{keys} }}'
        for name, fields in subjects.items():
            subject = f"{'code' if name in CODES else 'frame'} = {{ {fields} }}"
            for cause, table in CAUSES.items() if ASSERTIONS[kind][2] else [("", "")]:
                if cause == "ignition" and name not in ("can", "can, random"):
                    continue
                if cause and kind == "first-to-speak" and "worst" in name:
                    continue
                disturbance = f"disturbance = {{ {table} }}\n" if cause else ""
                rows.append((kind, f"{name}{', ' if cause else ''}{cause}", f"{subject}\n{disturbance}{asserts}"))
    return rows


def test_every_kind_of_claim_is_measured():
    assert set(ASSERTED) == set(ASSERTIONS)


@pytest.mark.parametrize(("kind", "name", "text"), claims(), ids=lambda value: value if len(value) < 60 else "")
def test_a_claim_of_any_kind_keeps_a_short_budget(kind, name, text):
    told = claims_from_text(f'title = "t"\nbudget_s = {BUDGET_S}\n[[claim]]\nid = "one"\n{text}', file="f")
    began = time.process_time()
    finding = decide_all(told).findings[0]
    taken = time.process_time() - began
    print(f"\n{taken:6.2f} s {kind}, {name}: {finding.verdict}")
    assert taken < FACTOR * BUDGET_S + START_S
    assert finding.needs or finding.verdict != "open"
