"""How kernels are compiled: once, kept on disk, without holding up other threads."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

__all__ = ["compiled", "lightly_compiled"]

_F = TypeVar("_F", bound=Callable[..., Any])


def compiled(function: _F) -> _F:
    """Compile on first call, keep the result on disk, and let other threads run meanwhile."""
    return cast(_F, njit(cache=True, nogil=True, error_model="numpy")(function))


def lightly_compiled(function: _F) -> _F:
    """Compile a function that makes no arrays, on first call, without counting who uses those that it is given.

    Counting costs more than a short function does.
    """
    return cast(_F, njit(cache=True, nogil=True, error_model="numpy", _nrt=False)(function))
