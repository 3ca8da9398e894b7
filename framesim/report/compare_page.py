"""The comparison as one self-contained HTML page: no network, no script, prints as it stands."""

from framesim import __version__
from framesim.coverage.compare import Comparison
from framesim.report.caution import CAUTION
from framesim.report.compare_rows import notes, parts

__all__ = ["comparison_page"]


def comparison_page(comparison: Comparison) -> str:
    """Return the page as text; everything from outside is escaped."""
    from jinja2 import Environment, PackageLoader

    pages = Environment(loader=PackageLoader("framesim.report"), autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return pages.get_template("compare.html.j2").render(
        comparison=comparison, parts=parts(comparison), notes=notes(comparison), caution=CAUTION, version=__version__
    )
