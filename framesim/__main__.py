"""Lets ``python -m framesim`` do what the ``framesim`` command does."""

from framesim.cli.main import entry

__all__: list[str] = []

if __name__ == "__main__":
    entry()
