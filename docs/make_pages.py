"""Makes the generated parts of the networks' pages anew: ``python docs/make_pages.py``."""

from pathlib import Path

from framesim.report.format_page import regenerated

FOLDER = Path(__file__).resolve().parent / "networks"


def main() -> None:
    """Rewrite the pages that are out of date."""
    for path in sorted(FOLDER.glob("*.md")):
        old = path.read_text(encoding="utf-8")
        new = regenerated(old)
        if new != old:
            path.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
