"""The harness for encoders and decoders of other people, in any language: cases, comparison, shrinking, findings."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from framesim.challenge.calls import challenge_command as challenge_command
    from framesim.challenge.calls import challenge_decoder as challenge_decoder
    from framesim.challenge.calls import challenge_encoder as challenge_encoder
    from framesim.challenge.case import Case as Case
    from framesim.challenge.report import Finding as Finding
    from framesim.challenge.report import Report as Report
    from framesim.challenge.streams import cases as cases

_PLACES = {
    "Case": "framesim.challenge.case",
    "Finding": "framesim.challenge.report",
    "Report": "framesim.challenge.report",
    "cases": "framesim.challenge.streams",
    "challenge_command": "framesim.challenge.calls",
    "challenge_decoder": "framesim.challenge.calls",
    "challenge_encoder": "framesim.challenge.calls",
}

__all__ = [*sorted(_PLACES)]  # noqa: PLE0604 - every key is a str


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used; the pytest plugin lives here and must cost nothing."""
    from importlib import import_module

    if name not in _PLACES:
        raise AttributeError(f"module 'framesim.challenge' has no attribute {name!r}")
    return getattr(import_module(_PLACES[name]), name)
