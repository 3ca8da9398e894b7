"""Derives the answers of ``flexray_b.json`` by another road, the same for all FlexRay files."""

import sys

from check_flexray import main

if __name__ == "__main__":
    sys.exit(main("flexray_b"))
