"""Instants in step with the crankshaft: a fixed angle from each nominal firing instant."""

import math
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from framesim.disturbance.spark_drawing import engine_phase

if TYPE_CHECKING:
    from framesim.disturbance.ignition import Ignition

__all__ = ["longest_step_s", "step_instants"]

Floats = npt.NDArray[np.float64]


def _step_degrees(ignition: "Ignition") -> float:
    """Return the degrees of crankshaft from one firing instant to the next."""
    return 360 * (ignition.strokes / 2) / ignition.cylinders


def longest_step_s(ignition: "Ignition") -> float:
    """Return the time between two firing instants at the engine's slowest speed."""
    profile = ignition.speed_profile
    slowest_rpm = ignition.speed_rpm if profile is None else min(speed for _, speed in profile)
    return 60 / slowest_rpm * _step_degrees(ignition) / 360


def step_instants(ignition: "Ignition", time_s: Floats, angle_deg: float, seed: int, count: int = 1) -> Floats:
    """Return the last instants, at or before each time, at which the crank stands at the angle.

    The angle is counted from the nominal firing instants, by the crank alone: the sparks themselves have a jitter
    about these, a crankshaft sensor has none here.

    Args:
        ignition: the engine.
        time_s: shape: (n,). Any order.
        angle_deg: degrees of crankshaft after a firing instant, before it if negative.
        seed: of the engine; it decides where the crank stands at time 0.
        count: how many instants for each time, one a spark interval.

    Returns:
        shape: (count, n). The oldest first.
    """
    if not time_s.size:
        return np.empty((count, 0))
    crank = ignition.crank
    offset = engine_phase(seed) + angle_deg / _step_degrees(ignition)
    first = math.floor(crank.sparks_at(float(time_s.min())) - offset) - count - 1
    last = math.ceil(crank.sparks_at(float(time_s.max())) - offset) + 1
    instants = crank.time_at(np.arange(first, last + 1, dtype=np.float64) + offset)
    newest = np.searchsorted(instants, time_s, side="right") - 1
    return np.asarray(instants[newest - np.arange(count - 1, -1, -1)[:, None]])
