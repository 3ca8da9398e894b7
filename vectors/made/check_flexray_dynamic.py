"""Derives the answers of ``flexray_dynamic.json`` by another road, the same for all FlexRay files."""

import sys

from check_flexray import main

if __name__ == "__main__":
    sys.exit(main("flexray_dynamic"))
