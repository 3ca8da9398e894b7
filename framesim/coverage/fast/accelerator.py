"""A graphics processor, where there is one: it sends what the processor would, with the same counts and cases.

Only frames with an exact number of flips go there: its draws are whole numbers, so both draw the same. It is used
where the package numba-cuda is installed (the extra ``[accelerator]``) and finds one, unless the environment variable
``FRAMESIM_ACCELERATOR`` is ``off``.
"""

import os
from functools import lru_cache
from importlib.util import find_spec
from typing import Any

from framesim.kernels.sliced_can import CanShape, write_can

__all__ = ["exact_flips_sender"]


@lru_cache(maxsize=1)
def _present() -> bool:
    if os.environ.get("FRAMESIM_ACCELERATOR") == "off" or find_spec("numba_cuda") is None:
        return False
    from framesim.kernels.cuda_driver import present

    return present()


@lru_cache(maxsize=32)
def _sender(shape: CanShape, flips: int) -> Any:
    from framesim.kernels.cuda_driver import driver
    from framesim.kernels.sliced_made import module_of

    module = module_of(write_can(shape), 1)
    return driver(module.receive, module.PLANES, module.SCRATCH, flips)


def exact_flips_sender(shape: CanShape, flips: int) -> Any | None:
    """Return what sends frames with exactly ``flips`` flips on an accelerator, or None where the processor should.

    Args:
        shape: the format in numbers.
        flips: a frame.

    Returns:
        ``send``, see ``framesim.kernels.cuda_driver.driver``.
    """
    return _sender(shape, flips) if _present() else None
