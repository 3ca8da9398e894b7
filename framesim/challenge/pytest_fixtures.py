"""A pytest plugin, found by pytest itself once framesim is installed: test your codec in three lines.

Nothing else of framesim is imported until a fixture is used.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from framesim.challenge.report import Report

__all__ = ["challenge_command", "challenge_decoder", "challenge_encoder"]


def _checking(name: str) -> "Callable[..., Report]":
    def check(codec: Any, **settings: Any) -> "Report":
        from framesim.challenge import calls

        report: Report = getattr(calls, name)(codec, **settings)
        if not report.clean:
            pytest.fail(str(report), pytrace=False)
        return report

    return check


@pytest.fixture(scope="session")
def challenge_decoder() -> "Callable[..., Report]":
    """Challenge a function that decodes; the test fails with the findings. See ``framesim.challenge``."""
    return _checking("challenge_decoder")


@pytest.fixture(scope="session")
def challenge_encoder() -> "Callable[..., Report]":
    """Challenge a function that encodes; the test fails with the findings. See ``framesim.challenge``."""
    return _checking("challenge_encoder")


@pytest.fixture(scope="session")
def challenge_command() -> "Callable[..., Report]":
    """Challenge a command; the test fails with the findings. See ``framesim.challenge``."""
    return _checking("challenge_command")
