"""A scenario file with what the command line says instead: one severity, another seed."""

import argparse
import dataclasses
from typing import TYPE_CHECKING, Any

from framesim.cli.parsing import quoted, whole_number
from framesim.errors import BadArgument

if TYPE_CHECKING:
    from framesim.coverage.scenario import Scenario

__all__ = ["scenario_from"]


def scenario_from(values: argparse.Namespace, *, severity: str | None = None) -> "Scenario":
    """Return the scenario of ``values.scenario`` under one severity and with the seed asked for.

    Args:
        values: with ``scenario``, and ``severity`` and ``seed`` where the command has them.
        severity: under an engine, what is meant where nobody says it; None: the scenario's own.

    Raises:
        BadInput: the file cannot be used.
        BadArgument: no such severity, or one without an engine.
    """
    from framesim.coverage.scenario import load_scenario
    from framesim.disturbance.knobs import SEVERITIES

    scenario = load_scenario(values.scenario)
    changes: dict[str, Any] = {}
    asked = getattr(values, "severity", None)
    if asked is not None and not scenario.by_engine:
        raise BadArgument("--severity: stands only beside an engine")
    wanted = severity if asked is None and scenario.by_engine else asked
    if wanted is not None:
        if wanted not in SEVERITIES:
            raise BadArgument(f"--severity={quoted(wanted)}: expected one of {', '.join(SEVERITIES)}")
        changes["severities"] = (wanted,)
    if getattr(values, "seed", None) is not None:
        changes["seed"] = whole_number("--seed", values.seed)
    return dataclasses.replace(scenario, **changes)
