"""How the landscape of a response looks in the terminal: a line or two."""

from __future__ import annotations

from analysis.report.landscape_words import shape_sentences
from analysis.surface.survey import SurfaceLandscape
from doe.cli.screen import paragraph

# Level combinations that are told on the screen; `--json` and the report have all.
MOST_SHAPES = 2


def show_landscape(landscape: SurfaceLandscape | None) -> str:
    """Say the nature of a surface and where it has no slope, set off; empty where there is none."""
    if landscape is None:
        return ""
    if not landscape.shapes:
        # Without a form there is no landscape where nothing moves, which needs no word.
        is_bent = landscape.fit.model.bend is not None
        return "\n\n" + paragraph(f"Landscape: {landscape.why_no_shape}") if is_bent else ""
    lines = [" ".join(shape_sentences(shape)) for shape in landscape.shapes[:MOST_SHAPES]]
    more = len(landscape.shapes) - MOST_SHAPES
    if more > 0:
        lines.append(f"{more} more combinations of levels are told by --json and by the report.")
    return "\n\n" + paragraph("Landscape: " + " ".join(lines))
