"""Makes and keeps bit-sliced receivers: compiles what a maker wrote, as functions that the drivers can be given.

Numba keeps compiled code beside the file it was compiled from, so the text must stand in a file. It goes into a
folder of the user's cache, under a name that follows from the text itself: another text is another file.
"""

import hashlib
import importlib.util
import os
import sys
import tempfile
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

from numba import cfunc, types

from framesim.kernels.sliced_words import UW

__all__ = ["Made", "cache_folder", "made", "module_of"]

HEAD = '''"""A bit-sliced receiver. Written by framesim from the declaration of a network; do not edit."""

import numpy as np

U = np.uint64
UW = U({words})
'''


class Made(NamedTuple):
    """A compiled receiver.

    Attributes:
        receive: as a first-class function for compiled callers; see the maker, and ``sliced_driver.listen``.
        planes: wire bits it looks at.
        path: its text.
    """

    receive: Any
    planes: int
    path: Path


def cache_folder() -> Path:
    """Return the folder for made texts: ``FRAMESIM_CACHE``, else the user's cache, else a temporary one."""
    given = os.environ.get("FRAMESIM_CACHE")
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    for folder in ([Path(given)] if given else []) + [Path(home, "framesim")]:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    folder = Path(tempfile.gettempdir(), f"framesim-{os.getuid() if hasattr(os, 'getuid') else 0}")
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


@lru_cache(maxsize=32)
def module_of(receiver: str, words: int) -> ModuleType:
    """Return what ``receiver``, a maker's text, defines for ``words`` machine words side by side; not compiled yet.

    The text is written to the cache if it is not there yet.
    """
    text = HEAD.format(words=words) + receiver
    name = "made_" + hashlib.sha256(text.encode()).hexdigest()[:20]
    path = cache_folder() / f"{name}.py"
    if not path.exists() or path.read_text(encoding="utf-8") != text:
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=path.parent, suffix=".new", delete=False) as file:
            file.write(text)
        os.replace(file.name, path)  # at once, so that another process never reads half of it
    found = importlib.util.spec_from_file_location(name, path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[name] = module
    found.loader.exec_module(module)
    return module


@lru_cache(maxsize=32)
def made(receiver: str) -> Made:
    """Return the receiver that ``receiver``, a maker's text, defines, compiled for this processor."""
    module = module_of(receiver, int(UW))
    planes = types.uint64[::1]
    signature = types.void(planes, planes, planes, types.uint64)
    receive = cfunc(signature, cache=True)(module.receive)
    return Made(receive=receive, planes=module.PLANES, path=Path(str(module.__file__)))
