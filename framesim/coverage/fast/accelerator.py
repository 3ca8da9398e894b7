"""A graphics processor, where there is one: it sends what the processor would, with the same counts and cases.

Only frames with an exact number of flips go there: its draws are whole numbers, so both draw the same. It is used
where the package numba-cuda is installed (the extra ``[accelerator]``) and finds one, unless the environment variable
``FRAMESIM_ACCELERATOR`` is ``off``. Where it is installed but fails, one line says so, and the processor does the work.
"""

import logging
import os
from functools import lru_cache
from importlib.util import find_spec
from typing import Any

from framesim.kernels.sliced_can import CanShape, write_can
from framesim.plain import one_line

__all__ = ["exact_flips_sender"]

_failed: list[Exception] = []  #: why this process no longer asks it


@lru_cache(maxsize=1)
def _present() -> bool:
    if os.environ.get("FRAMESIM_ACCELERATOR") == "off" or find_spec("numba_cuda") is None:
        return False
    try:
        from framesim.kernels.cuda_driver import present

        return present()
    except Exception as error:  # noqa: BLE001 - whatever a broken installation brings: the processor can do it
        _give_up(error)
        return False


@lru_cache(maxsize=32)
def _driver(shape: CanShape, flips: int) -> Any:
    from framesim.kernels.cuda_driver import driver
    from framesim.kernels.sliced_made import module_of

    module = module_of(write_can(shape), 1)
    return driver(module.receive, module.PLANES, module.SCRATCH, flips)


def _give_up(error: Exception) -> None:
    _failed.append(error)
    told = one_line(str(error).strip())[:200]
    logging.getLogger(__name__).warning(
        "framesim: the graphics processor cannot be used (%s: %s); the processor does its work, and the result is the "
        "same; FRAMESIM_ACCELERATOR=off turns it away", type(error).__name__, told,
    )  # fmt: skip


def exact_flips_sender(shape: CanShape, flips: int) -> Any | None:
    """Return what sends frames with exactly ``flips`` flips on an accelerator, or None where the processor should.

    Args:
        shape: the format in numbers.
        flips: a frame.

    Returns:
        ``send``, see ``framesim.kernels.cuda_driver.driver``; it returns whether it has sent them. If not, it has
        changed nothing, and what it was given is left to the processor.
    """
    if _failed or not _present():
        return None

    def send(*given: Any) -> bool:
        try:
            _driver(shape, flips)(*given)
        except Exception as error:  # noqa: BLE001 - compilers and drivers raise what they like
            _give_up(error)
        return not _failed

    return send
