"""The built-in scenario cut down, as a start for scenarios of tests."""

from framesim.coverage.scenario import SWEEPER

__all__ = ["ONE_LINK"]

#: with classic CAN and the analog line alone
ONE_LINK = "\n".join(line for line in SWEEPER.splitlines() if not line.startswith(("[links.", "receivers"))) + "\n"
