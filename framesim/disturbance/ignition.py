"""An engine's ignition as a source of interference, with every number in the open."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from framesim.disturbance.crank import ConstantSpeed, Crank
from framesim.disturbance.drive_profile import DriveProfile, check_profile
from framesim.disturbance.knobs import CYLINDER_GAINS, KNOBS, LEADS, SEVERITIES, Basis
from framesim.disturbance.spark_drawing import draw_events
from framesim.disturbance.sparks import SparkEvents
from framesim.errors import BadArgument, check_number, check_range

__all__ = ["CAUTION", "Ignition"]

_LONGEST_S = 1e7
_SLOWEST_RPM, _FASTEST_RPM = 10, 30_000

CAUTION = (
    "Ignition circuits carry 15 to 40 kV (primary 300 to 400 V): never probe them, never build these waveforms in "
    "hardware. The numbers are illustrative, many are estimates; this is no EMC test and no evidence for a safety case."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ignition:
    """A spark ignition and the way its interference takes to a wire.

    The first eight fields choose the case. All others are knobs: ``None`` takes the value from the table in
    ``framesim.disturbance.knobs``, which depends on ``leads`` and ``severity``; ``describe()`` shows what applies
    and how well it is known. The same seed gives the same engine whatever the knobs: sparks stay where they are
    when only the coupling changes, so results for two severities, or for a bus and an analog line, can be
    compared spark by spark.

    Attributes:
        speed_rpm: crankshaft speed, revolutions a minute; not used under a ``speed_profile``.
        speed_profile: a drive profile instead of one speed: pairs (seconds, revolutions a minute), times ascending
            from 0, straight lines between, repeated after the last; ``None``: the speed stays.
        cylinders: number of cylinders.
        strokes: 4 or 2.
        leads: ``"long"`` or ``"coil_on_plug"``.
        wasted_spark: each coil serves two plugs; the one in its exhaust stroke fires too (four strokes, even count).
        severity: ``"good"``, ``"typical"``, ``"poor"`` or ``"fault"``.
        cylinder_gains: coupling of each cylinder in firing order, 0..1; ``None`` spreads 1.0..0.35.

    Raises:
        BadArgument: a value is out of range or does not go with another.
    """

    speed_rpm: float = 3000.0
    speed_profile: tuple[tuple[float, float], ...] | None = None
    cylinders: int = 4
    strokes: int = 4
    leads: Literal["long", "coil_on_plug"] = "long"
    wasted_spark: bool = False
    severity: Literal["good", "typical", "poor", "fault"] = "typical"
    cylinder_gains: tuple[float, ...] | None = None
    breakdown_volts: float | None = None
    breakdown_spread: float | None = None
    breakdown_lowest: float | None = None
    breakdown_highest: float | None = None
    restrikes_mean: float | None = None
    restrike_lowest: float | None = None
    restrike_highest: float | None = None
    wasted_lowest: float | None = None
    wasted_highest: float | None = None
    timing_jitter: float | None = None
    dwell_s: float | None = None
    rise_s: float | None = None
    glow_s: float | None = None
    glow_volts: float | None = None
    primary_amps: float | None = None
    make_volts: float | None = None
    make_hz: float | None = None
    make_decay_s: float | None = None
    ringdown_volts: float | None = None
    ringdown_hz: float | None = None
    ringdown_decay_s: float | None = None
    restrike_rise_s: float | None = None
    ring_hz: float | None = None
    ring_spread: float | None = None
    ring_decay_s: float | None = None
    edge_suppression: float | None = None
    mutual_capacitance_f: float | None = None
    line_capacitance_f: float | None = None
    coupled_limit_volts: float | None = None
    ground_resistance_ohm: float | None = None

    def __post_init__(self) -> None:
        check_number("speed_rpm", self.speed_rpm, _SLOWEST_RPM, _FASTEST_RPM, unit="rpm")
        if self.speed_profile is not None:
            check_profile("speed_profile", self.speed_profile, _SLOWEST_RPM, _FASTEST_RPM)
        check_range("cylinders", self.cylinders, 1, 64, base="d")
        if type(self.strokes) is not int or self.strokes not in (2, 4):
            raise BadArgument(f"strokes={self.strokes!r}: must be 2 or 4")
        if not isinstance(self.leads, str) or self.leads not in LEADS:
            raise BadArgument(f"leads={self.leads!r}: must be one of {', '.join(LEADS)}")
        if type(self.wasted_spark) is not bool:
            raise BadArgument(f"wasted_spark={self.wasted_spark!r}: expected bool")
        if not isinstance(self.severity, str) or self.severity not in SEVERITIES:
            raise BadArgument(f"severity={self.severity!r}: must be one of {', '.join(SEVERITIES)}")
        if self.wasted_spark and (self.strokes != 4 or self.cylinders % 2):
            raise BadArgument("wasted_spark=True: needs four strokes and an even number of cylinders")
        if self.cylinder_gains is not None:
            if not isinstance(self.cylinder_gains, tuple):
                raise BadArgument(f"cylinder_gains={self.cylinder_gains!r}: expected a tuple of numbers")
            if len(self.cylinder_gains) != self.cylinders:
                raise BadArgument(
                    f"len(cylinder_gains)={len(self.cylinder_gains)}: must equal cylinders={self.cylinders}"
                )
            for number, gain in enumerate(self.cylinder_gains):
                check_number(f"cylinder_gains[{number}]", gain, 0, 1)
        for name, knob in KNOBS.items():
            if getattr(self, name) is not None:
                check_number(name, getattr(self, name), knob.low, knob.high, unit=knob.unit)
        for kind in ("restrike", "wasted"):
            if self.value(f"{kind}_lowest") > self.value(f"{kind}_highest"):
                raise BadArgument(f"{kind}_lowest={self.value(f'{kind}_lowest')}: must not exceed {kind}_highest")
        if self.value("rise_s") >= self.value("dwell_s"):
            raise BadArgument(f"rise_s={self.value('rise_s')}: must be shorter than dwell_s")

    @property
    def sparks_per_second(self) -> float:
        """Firing instants per second, all cylinders together, the mean of a profile; a wasted spark is not counted."""
        if self.speed_profile is not None:
            return self._profile(self.speed_profile).mean_rate
        return self.speed_rpm / 60 * self._sparks_per_turn

    @property
    def _sparks_per_turn(self) -> float:
        return self.cylinders / (self.strokes / 2)

    def _profile(self, points: tuple[tuple[float, float], ...]) -> DriveProfile:
        rates = tuple(speed / 60 * self._sparks_per_turn for _, speed in points)
        return DriveProfile(tuple(float(time) for time, _ in points), rates)

    @property
    def breakdowns_per_second(self) -> float:
        """Plug breakdowns per second, wasted sparks counted, re-strikes not."""
        return self.sparks_per_second * (2 if self.wasted_spark else 1)

    @property
    def crank(self) -> Crank:
        """When sparks are due."""
        if self.speed_profile is not None:
            return self._profile(self.speed_profile)
        return ConstantSpeed(self.sparks_per_second)

    @property
    def gains(self) -> npt.NDArray[np.float64]:
        """Coupling of each cylinder in firing order. shape: (cylinders,)."""
        if self.cylinder_gains is not None:
            return np.array(self.cylinder_gains, np.float64)
        places = np.linspace(0, len(CYLINDER_GAINS) - 1, self.cylinders)
        return np.interp(places, np.arange(len(CYLINDER_GAINS)), CYLINDER_GAINS)

    def value(self, name: str) -> float:
        """Return the value of a knob: the one given, or else the table's.

        Raises:
            KeyError: no knob has this name.
        """
        knob = KNOBS[name]
        given = getattr(self, name)
        if given is not None:
            return float(given)
        if not isinstance(knob.value, float):
            return knob.value[self.leads if self.leads in knob.value else self.severity]
        return knob.value

    def events(self, start_s: float, stop_s: float, seed: int) -> SparkEvents:
        """Draw all events with ``start_s <= time < stop_s``.

        Each spark cluster has its own random numbers, addressed by seed and cluster number: a window drawn alone
        holds exactly the events that a longer draw has there. Memory grows with the window, so walk through long
        runs in pieces (``windows``). Times are float64: after an hour they are good to 0.5 ps, after the longest
        time allowed, 2700 hours, to 2 ns; for more sparks take more seeds.

        Args:
            start_s: start of the window; the engine runs before time 0 too.
            stop_s: end of the window, exclusive.
            seed: 0..2**64 - 1.

        Raises:
            BadArgument: the window ends before it starts, or the seed is out of range.
        """
        check_number("start_s", start_s, -_LONGEST_S, _LONGEST_S, unit="s")
        check_number("stop_s", stop_s, start_s, _LONGEST_S, unit="s")
        return draw_events(self, start_s, stop_s, seed)

    def windows(self, start_s: float, stop_s: float, *, sparks: int = 4096) -> Iterator[tuple[float, float]]:
        """Cut a time span into windows of about so many sparks, for walking through hours with little memory."""
        step = sparks / self.sparks_per_second
        count = max(1, round((stop_s - start_s) / step))
        edges = np.linspace(start_s, stop_s, count + 1).tolist()
        yield from pairwise(edges)

    def basis(self, name: str) -> Basis | Literal["given"]:
        """Tell how well the value of a knob is known; ``"given"`` if the caller set it."""
        if getattr(self, name) is not None:
            return "given"
        basis = KNOBS[name].basis
        return basis if isinstance(basis, str) else basis[self.leads]

    def describe(self) -> dict[str, Any]:
        """Return the case, every knob with value, unit and basis, and the names of the estimates, for JSON."""
        knobs = {
            name: {"value": self.value(name), "unit": knob.unit, "basis": self.basis(name), "why": knob.why}
            for name, knob in KNOBS.items()
        }
        return {
            "kind": "ignition",
            "speed_rpm": self.speed_rpm if self.speed_profile is None else None,
            "speed_profile": None if self.speed_profile is None else [list(point) for point in self.speed_profile],
            "cylinders": self.cylinders,
            "strokes": self.strokes,
            "leads": self.leads,
            "wasted_spark": self.wasted_spark,
            "severity": self.severity,
            "meaning": SEVERITIES[self.severity],
            "sparks_per_second": self.sparks_per_second,
            "cylinder_gains": {
                "value": self.gains.tolist(),
                "basis": "estimate" if self.cylinder_gains is None else "given",
            },
            "knobs": knobs,
            "estimates": [
                *(["cylinder_gains"] if self.cylinder_gains is None else []),
                *(name for name in KNOBS if self.basis(name) == "estimate"),
            ],
            "caution": CAUTION,
        }
