"""The report in a real browser: it opens offline, says nothing to the console, fits the window."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from analysis.report.page import render_report
from tests.analysis.report.masonry import first_figures, full_content, masonry

BROWSER = next(
    (
        found
        for name in ("chromium", "chromium-browser", "google-chrome")
        if (found := shutil.which(name))
    ),
    None,
)
# 2026-11-25: a machine without a browser cannot look at the page; the other tests read its text.
pytestmark = pytest.mark.skipif(BROWSER is None, reason="2026-11-25: no browser on this machine")

# A page beside the report opens it in a frame of a given width and writes down what sticks out.
# Pictures of several shapes, wide and square; all of them would show nothing more.
PICTURES = 10
PROBE = """<!DOCTYPE html><meta charset="utf-8"><title>waiting</title>
<iframe id="frame" src="report.html" style="width:{width}px;height:900px;border:0"></iframe>
<pre id="found"></pre>
<script>
document.getElementById("frame").addEventListener("load", (event) => {{
  const page = event.target.contentDocument;
  const within = (element) => element.closest(".scroll, .unseen, .skip, thead") !== null;
  const wide = [...page.body.querySelectorAll("*")].filter(
    (element) => !within(element) && element.getBoundingClientRect().right > {width} + 1
  );
  const card = page.getElementById("decision").getBoundingClientRect();
  const out = [...page.querySelectorAll("#decision *")].filter(
    (element) => !element.closest(".unseen, thead") &&
      element.getBoundingClientRect().right > card.right + 1
  );
  document.getElementById("found").textContent = JSON.stringify({{
    scrolls: page.documentElement.scrollWidth,
    wide: wide.map((element) => element.outerHTML.slice(0, 120)),
    out: out.map((element) => element.outerHTML.slice(0, 120)),
    headings: [...page.querySelectorAll("h1, h2, h3")].map((h) => h.textContent),
    fetched: event.target.contentWindow.performance.getEntriesByType("resource").map((e) => e.name),
    pictures: page.querySelectorAll("figure svg").length,
    flat: [...page.querySelectorAll("figure svg")].filter(
      (svg) => svg.getBoundingClientRect().height < 100
    ).length,
  }});
}});
</script>
"""


def browse(folder: Path, *arguments: str, page: str = "report.html") -> tuple[str, str]:
    """Run the browser on a page of a folder; give its output and its log."""
    assert BROWSER is not None
    command = [
        BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic",
        "--no-first-run", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--user-data-dir={folder / 'profile'}",
        "--allow-file-access-from-files", "--enable-logging=stderr", *arguments,
        (folder / page).as_uri(),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    return done.stdout, done.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the report of the invented study."""
    path = tmp_path_factory.mktemp("report")
    page = render_report(full_content(masonry(), first_figures((), PICTURES)))
    (path / "report.html").write_text(page, encoding="utf-8")
    return path


def look(folder: Path, width: int) -> dict[str, list[str] | int]:
    """Open the report in a frame of a width and say what was found."""
    (folder / f"probe{width}.html").write_text(PROBE.format(width=width), encoding="utf-8")
    dom, _ = browse(folder, "--dump-dom", "--virtual-time-budget=9000", page=f"probe{width}.html")
    found = re.search(r'<pre id="found">(.*?)</pre>', dom, flags=re.DOTALL)
    assert found is not None
    text = found[1].replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    result: dict[str, list[str] | int] = json.loads(text)
    return result


@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_fits_the_window(folder: Path, width: int) -> None:
    """On a telephone at the mill and on the screen of a meeting room."""
    found = look(folder, width)

    assert found["wide"] == []
    assert found["out"] == []
    assert found["scrolls"] == width


def test_the_main_headings_and_every_figure_are_there(folder: Path) -> None:
    """The decision first, then the bench, then the numbers."""
    found = look(folder, 1000)
    headings = found["headings"]
    assert isinstance(headings, list)
    order = [
        next(i for i, heading in enumerate(headings) if words in heading)
        for words in ("For the decision", "For the formulator", "For the statistician")
    ]

    assert order == sorted(order)
    assert headings[0] == masonry().study.about.title
    assert found["pictures"] == PICTURES
    assert found["flat"] == 0


def test_nothing_is_fetched_and_the_console_is_silent(folder: Path) -> None:
    """One file, whole in itself."""
    # The page forbids itself every source, so that an attempt would speak on the console.
    _, log = browse(folder, "--dump-dom")

    assert "default-src 'none'" in (folder / "report.html").read_text(encoding="utf-8")
    assert ":CONSOLE" not in log
    assert look(folder, 800)["fetched"] == []


def test_the_probe_would_see_a_request(folder: Path) -> None:
    """A check that cannot fail protects nothing."""
    page = (folder / "report.html").read_text(encoding="utf-8")
    spoilt = page.replace("</main>", '<img src="https://example.org/x.png" alt=""></main>')
    (folder / "spoilt.html").write_text(spoilt, encoding="utf-8")
    _, log = browse(folder, "--dump-dom", page="spoilt.html")

    assert ":CONSOLE" in log


def test_the_page_can_be_seen_and_printed(folder: Path) -> None:
    """A picture with ink on it, and a document of several pages."""
    browse(folder, f"--screenshot={folder / 'wide.png'}", "--window-size=1280,2000")
    browse(folder, f"--print-to-pdf={folder / 'report.pdf'}", "--no-pdf-header-footer")
    printed = (folder / "report.pdf").read_bytes()

    assert (folder / "wide.png").stat().st_size > 50_000
    assert printed.startswith(b"%PDF")
    assert 5 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 40
