"""The undetected rates of a scenario's links under an engine, from what a run found on each."""

from collections.abc import Iterator, Mapping

from framesim.coverage.lines import Line
from framesim.coverage.scenario import Scenario
from framesim.coverage.spark_residual import SparkResidual, spark_residual
from framesim.coverage.windows import Part

__all__ = ["residuals_of"]

#: Patterns judged in a stratum; where tables judge many at once, the second number.
PATTERNS, PATTERNS_BY_TABLE = 400, 8000


def residuals_of(
    scenario: Scenario, totals: Mapping[str, Part], lines: Mapping[str, Line]
) -> Iterator[tuple[tuple[str, str], SparkResidual | None]]:
    """Yield (network, column) and the undetected rate by strata, for those of the scenario's links that are given.

    Args:
        scenario: an engine's.
        totals: column → what the run found.
        lines: links to work out; each draws from a stream of its own, whatever others there are.
    """
    networks = scenario.networks
    for place, (column, part) in enumerate(totals.items()):
        for network, passage in part.passages.items():
            if network in lines:
                rate = spark_residual(
                    lines[network].slots.book,
                    passage.donors,
                    passage.by_flips,
                    passage.tally.frames,
                    confidence=scenario.confidence,
                    patterns=_patterns(network, passage.tally.frames),
                    seed=scenario.seed,
                    stream=100 * networks.index(network) + place,
                )
                yield (network, column), rate


def _patterns(network: str, frames: int) -> int:
    """Return how many patterns are worth judging: after a short run the strata's weights are what is uncertain."""
    most = PATTERNS_BY_TABLE if network == "can" else PATTERNS
    return min(most, max(20, frames * most // 20_000))
