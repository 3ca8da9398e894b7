"""Networks: one file each, holding frame, layout and nothing else; the engine beside them does the rest.

The module can be called: ``framesim.networks()`` returns the names of all networks.
"""

import sys
from types import ModuleType

from framesim.networks.registry import names, network, register

__all__ = ["names", "network", "register"]


class _CallableModule(ModuleType):
    """Lets ``framesim.networks()`` and ``framesim.networks.can`` live side by side."""

    def __call__(self) -> tuple[str, ...]:
        return names()


sys.modules[__name__].__class__ = _CallableModule
