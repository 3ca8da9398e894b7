"""How kernels are compiled: once, kept on disk, without holding up other threads."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

__all__ = ["compiled"]

_F = TypeVar("_F", bound=Callable[..., Any])


def compiled(function: _F) -> _F:
    """Compile on first call, keep the result on disk, and let other threads run meanwhile."""
    return cast(_F, njit(cache=True, nogil=True, error_model="numpy")(function))
