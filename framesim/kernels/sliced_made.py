"""Makes and keeps the modules of bit-sliced receivers: the text of ``sliced_driver`` and what a maker wrote.

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

from framesim.kernels import sliced_driver

__all__ = ["cache_folder", "load"]


def cache_folder() -> Path:
    """Return the folder for made modules: ``FRAMESIM_CACHE``, else the user's cache, else a temporary one."""
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


def made_text(receiver: str, *, words: int, planes: int) -> str:
    """Return the text of a module: the drivers, and between their head and their body what a maker wrote.

    Args:
        receiver: text that defines ``receive``.
        words: of 64 receivers side by side, at least 16, or the compiler unrolls the loop it should vectorise.
        planes: wire bits looked at.
    """
    driver = Path(sliced_driver.__file__).read_text(encoding="utf-8")
    numbers = f"UW, PLANES = np.uint64({words}), {planes}\n\n\n"
    head, mark, body = driver.partition("LANES = np.uint64(64)\n")
    declared = "receive: Any\nUW: Any\nPLANES: Any\n"
    return head.replace(declared, "") + mark + numbers + receiver + body.lstrip("\n")


@lru_cache(maxsize=32)
def load(receiver: str, *, words: int, planes: int) -> ModuleType:
    """Return the module of a receiver, written to the cache if it is not there yet; see ``made_text``."""
    text = made_text(receiver, words=words, planes=planes)
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
