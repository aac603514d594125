"""What stands on a page before it is known: the page of a heading, the number of pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from reportlab.pdfgen.canvas import Canvas

Draw = Callable[[Canvas], None]


@dataclass(frozen=True, slots=True)
class Later:
    """Keeps a place on a page for each of its drawings, and draws them when all is known.

    A PDF may use a form on a page and define it after the last one, so pages are set once.
    """

    _waiting: list[tuple[str, float, float, Draw]] = field(default_factory=list)

    def place(self, canvas: Canvas, width: float, height: float, draw: Draw) -> None:
        """Let a drawing stand here; sizes in points, from the present origin of the canvas."""
        name = f"later-{len(self._waiting)}"
        self._waiting.append((name, width, height, draw))
        canvas.doForm(name)

    def draw(self, canvas: Canvas) -> None:
        """Draw all that stands anywhere; to be called once, after the last page."""
        for name, width, height, draw in self._waiting:
            canvas.beginForm(name, 0, 0, width, height)
            draw(canvas)
            canvas.endForm()
