"""Time how soon the recipe card answers a change in a real browser; prints, asserts nothing.

Run: python -m tests.benchmarks.recipe_card_times [PAGE.html …]

Without pages the invented studies of the tests are timed. The first number is from a press of a
button to grams and readings on the card, the second to all of it with the room of every setting,
the third is the search for the compromise after a change of importance. The aim is 100 ms for the
first; the page's own clock is read, in the browser.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from analysis.report.decide.page import render_decide
from tests.analysis.report.decide.cases import package_case, ranged_case
from tests.journeys.browser import Chromium, Page

TIMED = """(async () => {
  const buttons = [...document.querySelectorAll("#card-A .stepper button")];
  const root = document.getElementById("page");
  const rest = () => new Promise((done) => setTimeout(done, 30));
  const idle = async () => { while (root.dataset.searching !== "no") await rest(); };
  await idle();
  const [card, room] = [[], []];
  for (let i = 0; i < 40; i += 1) {
    const settled = root.dataset.settled;
    const start = performance.now();
    buttons[i % buttons.length].click();
    document.body.offsetHeight;
    card.push(performance.now() - start);
    while (root.dataset.settled === settled) await new Promise((done) => setTimeout(done, 0));
    room.push(performance.now() - start);
    await rest();
  }
  const start = performance.now();
  document.querySelector("#weights .stepper button").click();
  const first = performance.now() - start;
  await idle();
  const middle = (list) => list.sort((a, b) => a - b)[list.length >> 1];
  return { card: middle(card), most: Math.max(...card), room: middle(room),
    first, search: performance.now() - start };
})()"""


def main() -> None:
    """Time the pages that are named, or the invented studies."""
    with tempfile.TemporaryDirectory() as folder:
        pages = list(_pages(Path(folder), sys.argv[1:]))
        with Chromium(Path(folder) / "profile") as browser:
            for path in pages:
                with browser.page(path.as_uri()) as page:
                    print(f"{path.name}: {_told(page)}")


def _pages(folder: Path, named: list[str]) -> Iterator[Path]:
    if named:
        yield from (Path(name).resolve() for name in named)
        return
    for name, basis in (("package", package_case()), ("ranged", ranged_case())):
        path = folder / f"{name}.html"
        path.write_text(render_decide(basis), encoding="utf-8")
        yield path


def _told(page: Page) -> str:
    ms = page.run(TIMED)
    return (
        f"card after {ms['card']:.0f} ms (at most {ms['most']:.0f}), room after {ms['room']:.0f} "
        f"ms; importance: first answer after {ms['first']:.0f} ms, compromise after "
        f"{ms['search']:.0f} ms"
    )


if __name__ == "__main__":
    main()
