"""Makes the generated parts of the pages anew: ``python docs/make_pages.py``."""

from pathlib import Path

from framesim.report.format_page import regenerated
from framesim.report.scenario_page import with_keys

FOLDER = Path(__file__).resolve().parent / "networks"


def main() -> None:
    """Rewrite the pages that are out of date."""
    pages = [(path, regenerated) for path in sorted(FOLDER.glob("*.md"))]
    for path, made in [*pages, (FOLDER.parent / "scenarios.md", with_keys)]:
        old = path.read_text(encoding="utf-8")
        new = made(old)
        if new != old:
            path.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
