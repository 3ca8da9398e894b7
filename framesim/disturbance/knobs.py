"""Every number of the ignition model: its value, its range, and how well it is known.

``basis`` is one of three words. ``source``: read in the publication named. ``memory``: common knowledge of the
trade, from memory, no source at hand. ``estimate``: an engineering estimate; turn the knob and see what it does.
``docs/ignition-model.md`` explains each one.
"""

from collections.abc import Mapping
from typing import Literal, NamedTuple

__all__ = ["KNOBS", "LEADS", "SEVERITIES", "Basis", "Knob"]

Basis = Literal["source", "memory", "estimate"]

#: How the high voltage reaches the plugs.
LEADS: Mapping[str, str] = {
    "long": "one coil or a coil pack, with leads to the plugs",
    "coil_on_plug": "a coil on each plug, no high-voltage leads",
}

#: How close the victim's wires run to the ignition.
SEVERITIES: Mapping[str, str] = {
    "good": "separated and suppressed",
    "typical": "same compartment",
    "poor": "bundled for about 10 cm",
    "fault": "a cracked lead, or wires touching a high-voltage lead",
}

#: Bureau of Standards measurement of the sparks of a car ignition without suppressors.
_PETERS = "Peters, Blackburn and Hannen, NBS Journal of Research 19, RP1032 (1937)"

_MEASURED_ON_LEADS: Mapping[str, Basis] = {"long": "source", "coil_on_plug": "estimate"}


class Knob(NamedTuple):
    """One number of the model.

    Attributes:
        value: the default; by severity or by leads where it depends on them.
        low: smallest value allowed.
        high: largest value allowed.
        unit: unit of the value; empty for ratios and counts.
        basis: how well the default is known; by leads where it depends on them.
        why: the source, or what the estimate rests on.
    """

    value: float | Mapping[str, float]
    low: float
    high: float
    unit: str
    basis: Basis | Mapping[str, Basis]
    why: str


KNOBS: Mapping[str, Knob] = {
    # The spark
    "breakdown_volts": Knob(15e3, 0, 60e3, "V", "memory", "mean plug breakdown; systems deliver up to 40 kV"),
    "breakdown_spread": Knob(0.15, 0, 1, "", "estimate", "standard deviation over mean, spark to spark"),
    "breakdown_lowest": Knob(0.5, 0, 1, "", "estimate", "the draw is cut here, as a ratio of the mean"),
    "breakdown_highest": Knob(1.6, 1, 4, "", "estimate", "the draw is cut here, as a ratio of the mean"),
    "restrikes_mean": Knob(3.0, 0, 10, "", "memory", "0..2 in still gas, 3..10 in fast flow; weakly known"),
    "restrike_lowest": Knob(0.15, 0, 1, "", "estimate", "re-strike voltage over breakdown voltage"),
    "restrike_highest": Knob(0.40, 0, 1, "", "estimate", "re-strike voltage over breakdown voltage"),
    "wasted_lowest": Knob(0.2, 0, 1, "", "memory", "exhaust-stroke plug 2..3 kV against 8..12 kV"),
    "wasted_highest": Knob(0.3, 0, 1, "", "memory", "exhaust-stroke plug 2..3 kV against 8..12 kV"),
    "timing_jitter": Knob(0.01, 0, 0.1, "", "estimate", "standard deviation, as a share of the spark interval"),
    # The coil
    "dwell_s": Knob(3e-3, 1e-4, 2e-2, "s", "memory", "the coil charges for 2..4 ms"),
    "rise_s": Knob(30e-6, 1e-6, 1e-3, "s", "memory", "secondary rises to breakdown in 10..50 us"),
    "glow_s": Knob(1.5e-3, 1e-5, 2e-2, "s", "memory", "glow phase, 0.5..2 ms"),
    "glow_volts": Knob(600.0, 0, 5e3, "V", "memory", "glow phase, 300..600 V, more under flow"),
    "primary_amps": Knob(7.0, 0, 50, "A", "memory", "primary current at switch-off, 5..10 A"),
    "make_volts": Knob(1e3, 0, 5e3, "V", "estimate", "secondary oscillation when the primary is switched on"),
    "make_hz": Knob(10e3, 1e2, 1e6, "Hz", "estimate", "its frequency"),
    "make_decay_s": Knob(0.3e-3, 1e-6, 1e-2, "s", "estimate", "its decay, taken equal to the ring-down's"),
    "ringdown_volts": Knob(1.5e3, 0, 1e4, "V", "memory", "coil ring-down after the glow, 1..2 kV at its start"),
    "ringdown_hz": Knob(5e3, 1e2, 1e6, "Hz", "memory", "coil ring-down, 2..10 kHz"),
    "ringdown_decay_s": Knob(0.3e-3, 1e-6, 1e-2, "s", "memory", "coil ring-down lasts 3..6 cycles"),
    "restrike_rise_s": Knob(10e-6, 1e-6, 1e-3, "s", "estimate", "secondary rises to a re-strike"),
    # The fast ring on the harness
    "ring_hz": Knob(
        {"long": 8e6, "coil_on_plug": 25e6},
        1e5,
        1e9,
        "Hz",
        _MEASURED_ON_LEADS,
        f"long: 6..10 MHz, {_PETERS}; on plug: estimate",
    ),
    "ring_spread": Knob(
        {"long": 0.15, "coil_on_plug": 0.35}, 0, 1, "", "estimate", "lognormal standard deviation of the frequency"
    ),
    "ring_decay_s": Knob(
        {"long": 0.6e-6, "coil_on_plug": 0.12e-6},
        1e-9,
        1e-4,
        "s",
        _MEASURED_ON_LEADS,
        f"long: logarithmic decrement 0.08..0.40 a cycle, {_PETERS}; on plug: estimate",
    ),
    "edge_suppression": Knob(
        {"long": 0.5, "coil_on_plug": 0.2}, 0, 1, "", "estimate", "what resistive plugs and leads leave of the edge"
    ),
    # The way to the victim
    "mutual_capacitance_f": Knob(
        {"good": 0.1e-12, "typical": 0.3e-12, "poor": 1e-12, "fault": 5e-12},
        0,
        1e-10,
        "F",
        "estimate",
        "high-voltage side to the victim's wire; sets the result, no measurement found",
    ),
    "line_capacitance_f": Knob(150e-12, 1e-12, 1e-8, "F", "estimate", "1.5..2 m of harness wire in the first ns"),
    "coupled_limit_volts": Knob(150.0, 0, 1e3, "V", "estimate", "no claim above published coupling levels"),
    "ground_resistance_ohm": Knob(
        {"good": 1e-3, "typical": 5e-3, "poor": 10e-3, "fault": 20e-3},
        0,
        1,
        "ohm",
        "estimate",
        "ground shared by the coil's primary current and the sensor; sets the result",
    ),
}

#: Coupling of the cylinders in firing order, nearest first, for four; other counts interpolate. An estimate.
CYLINDER_GAINS = (1.0, 0.7, 0.5, 0.35)
