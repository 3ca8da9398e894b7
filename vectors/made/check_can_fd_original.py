"""Derives the answers of ``can_fd_original.json`` by the other road of ``check_can_fd.py``.

Source: CAN with Flexible Data-Rate, Specification 1.0 (2012): no stuff count, register preset 0, r0 taken either way.
"""

import sys

from check_can_fd import main

if __name__ == "__main__":
    sys.exit(main("can_fd_original.json", iso=False))
