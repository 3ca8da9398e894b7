"""Makes ``docs/pictures/residual.svg`` and its data beside it anew, in less than two minutes of processor time.

Run it as ``python docs/make_residual_picture.py``.
"""

import csv
from collections.abc import Sequence
from itertools import pairwise
from math import exp, expm1, log, log1p
from pathlib import Path

import framesim as fs
from framesim.coverage.population import Payloads
from framesim.coverage.residual_curve import residual_curve
from framesim.report.pictures.canvas import as_png, as_svg, sheet
from framesim.report.pictures.curves import ABOUT, Curve, Line, curve_of, draw_curves

PLACE = Path(__file__).resolve().parent / "pictures" / "residual.svg"
RATIOS = tuple(float(f"1e-{power}") for power in range(8, 1, -1))
SEED, BUDGET_S = 1, 20.0
PAYLOAD = bytes.fromhex("0102030405060708")

#: CAN Specification 2.0 (Bosch, 1991), part A, section 2: "less than message error rate * 4.7e-11" for undetected
#: corrupted messages. Known second-hand, and stated there without an operating point.
POPULAR = 4.7e-11

FRAMES = {
    "CAN FD, one frame": fs.CanFdFrame(identifier=0x123, payload=PAYLOAD),
    "LIN, one frame": fs.LinFrame(identifier=0x21, payload=PAYLOAD),
    "FlexRay, one frame": fs.FlexRayFrame(frame_id=21, payload=PAYLOAD, cycle=0),
    "Ethernet, one frame": fs.EthernetFrame(
        destination=bytes.fromhex("020000000002"),
        source=bytes.fromhex("020000000001"),
        ethertype=0x88B5,  # IEEE 802: local experimental use
        payload=PAYLOAD + bytes(38),
    ),
}


def main() -> None:
    """Compute the curves and write the picture."""
    draw(PLACE)


def draw(place: Path, *, png: Path | None = None) -> None:
    """Compute, draw, write; also a PNG to look at."""
    channels = [fs.Scatter(bit_error_ratio=ratio) for ratio in RATIOS]
    some = Payloads(frame=fs.CanFrame(identifier=0x123, payload=bytes(8)), seed=SEED)
    listening = residual_curve(some, channels, budget_s=BUDGET_S, target=0.05)
    ending = residual_curve(some, channels, acceptance="same_end", budget_s=BUDGET_S, target=0.05)
    same_end = curve_of(ending, "classic CAN, accepted at the sender's end")
    curves = [curve_of(listening, "classic CAN, whatever a receiver accepts"), same_end, bare_crc()]
    curves += [curve_of(residual_curve(frame, channels), label) for label, frame in FRAMES.items()]
    context = popular(same_end)
    place.parent.mkdir(exist_ok=True)
    write_data(place.with_suffix(".csv"), curves, context)
    with sheet(7.6, 6.4) as figure:
        draw_curves(figure, curves, [context], floor=1e-36)
        if png is not None:
            png.write_bytes(as_png(figure))
        place.write_text(as_svg(figure, "residual", ABOUT) + "\n", encoding="utf-8")


def write_data(place: Path, curves: Sequence[Curve], context: Line) -> None:
    """Write what is drawn: one line a point; no value where only an interval is known."""
    with place.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["curve", "bit_error_ratio", "probability", "low", "high", "drawn_as"])
        for curve in curves:
            drawn_as = "range" if curve.bounded else "line"
            points = zip(curve.ratios, curve.values, curve.low, curve.high, strict=True)
            for ratio, value, low, high in points:
                writer.writerow([curve.label, ratio, "" if value is None else value, low, high, drawn_as])
        for ratio, value in zip(context.ratios, context.values, strict=True):
            writer.writerow([context.label, ratio, value, value, value, "context"])


def bare_crc() -> Curve:
    """Return the CRC of classic CAN by itself over the 83 bits from SOF to the last data bit: no stuffing, no form."""
    code = fs.codes.crc("CRC-15/CAN")
    values = [code.undetected_probability(19 + 8 * len(PAYLOAD), ratio) for ratio in RATIOS]
    return Curve(label="its CRC-15 alone, no bit stuffing", ratios=RATIOS, values=values, low=values, high=values)


def frame_error_rate(ratio: float) -> float:
    """Return P(at least one flip) in a frame of the mean length of those with 8 random bytes."""
    lengths = [len(fs.encode(fs.CanFrame(identifier=0x123, payload=bytes(payload)))) for payload in random_payloads()]
    return -expm1(sum(lengths) / len(lengths) * log1p(-ratio))


def random_payloads() -> Sequence[bytes]:
    """Return payloads for a mean length: a few hundred are plenty."""
    import random

    draw_from = random.Random(SEED)
    return [draw_from.randbytes(8) for _ in range(300)]


def popular(same_end: Curve) -> Line:
    """Return the popular constant times the frame error rate, and where the computed mean meets it."""
    rates = {ratio: frame_error_rate(ratio) for ratio in RATIOS}
    parts = [
        (log(ratio), log(value / rates[ratio] / POPULAR))
        for ratio, value in zip(same_end.ratios, same_end.values, strict=True)
        if value
    ]
    meets = None
    for (left, below), (right, above) in pairwise(parts):
        if below < 0 <= above:
            at = exp(left - below * (right - left) / (above - below))
            words = f"the dashed mean meets it near {at:.0e}; interval wider"
            meets = (at, POPULAR * frame_error_rate(at), words)
    label = "4.7e-11 × frame error rate, popular constant"
    return Line(label=label, ratios=RATIOS, values=[POPULAR * rates[ratio] for ratio in RATIOS], meets=meets)


if __name__ == "__main__":
    main()
