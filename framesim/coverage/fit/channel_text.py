"""A fitted channel as a channel file, the form that ``load_channel`` reads."""

from typing import Any

from framesim.coverage.fit.fitting import Fit
from framesim.disturbance import GilbertElliott

__all__ = ["channel_text"]


def channel_text(fit: Fit, way: str) -> str:
    """Return the channel fitted in one way as TOML, with comments that say what it was fitted to.

    Args:
        fit: what was found.
        way: a key of ``fit.channels``.
    """
    found = fit.channels[way]
    origin = " ".join(fit.origin.split())
    lines = [
        f"# Fitted by framesim, {way}, to {fit.n_flips} flips in {fit.n_bits} bits: {_plain(origin)}",
        f"# Guard distance {fit.guard} bits. A summary of what was seen, not a law of the wire.",
    ]
    channel = found.channel
    if isinstance(channel, GilbertElliott):
        lines.append('kind = "gilbert-elliott"')
        names = ("good_to_bad", "bad_to_good", "good_error", "bad_error")
        lines += [f"{name} = {float(getattr(channel, name))!r}" for name in names]
    else:
        lines += ['kind = "markov"', f"error = {_list(channel.error)}", "step = ["]
        lines += [f"    {_list(row)}," for row in channel.step]
        lines.append("]")
    return "\n".join(lines) + "\n"


def _list(values: Any) -> str:
    return "[" + ", ".join(repr(float(value)) for value in values) + "]"


def _plain(text: str) -> str:
    """Return text that a TOML comment may hold: no control characters."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)
