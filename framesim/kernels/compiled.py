"""How kernels are compiled: once, kept on disk, without holding up other threads."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit
from numba.core.options import DefaultOptions

__all__ = ["compiled", "lightly_compiled"]

_F = TypeVar("_F", bound=Callable[..., Any])


def compiled(function: _F) -> _F:
    """Compile on first call, keep the result on disk, and let other threads run meanwhile."""
    return cast(_F, njit(cache=True, nogil=True, error_model="numpy")(function))


def lightly_compiled(function: _F) -> _F:
    """Compile a function that makes no arrays, on first call, without counting who uses those that it is given.

    Counting costs more than a short function does. Numba has no documented way to leave it out; where it has lost the
    one taken here, functions are slower and do the same.
    """
    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
    if hasattr(DefaultOptions, "_nrt"):
        options["_nrt"] = False
    return cast(_F, njit(**options)(function))
