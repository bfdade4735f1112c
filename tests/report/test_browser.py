"""The page in a real browser: no complaint, nothing fetched or cut off, prints on both papers.

Skipped where no Chromium is installed.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from optimizer.report.make import PAGE, report_files

CHROMIUM = next(
    (p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None
)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium found")
#: Content widths in CSS pixels: a phone, and the text of A4 and of Letter within the margins.
WIDTHS = {"phone": 390, "A4": 688, "Letter": 710}
PROBE = """<script>
addEventListener("load", () => {
  const found = { view: innerWidth, cut: [], empty: [] };
  found.wide = document.documentElement.scrollWidth;
  for (const e of document.querySelectorAll("td, th, dd, h1, h2, h3, p, li"))
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline")
      found.cut.push(e.textContent.slice(0, 60));
  for (const e of document.querySelectorAll("figure svg")) {
    const box = e.getBoundingClientRect();
    if (box.width < 100 || box.height < 40) found.empty.push(e.getAttribute("aria-label"));
  }
  found.figures = document.querySelectorAll("figure svg").length;
  document.title = "PROBE" + JSON.stringify(found) + "PROBE";
});
</script>"""


@pytest.fixture(scope="module")
def page(results, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("browser") / "report.html"
    path.write_text(report_files(results)[PAGE], encoding="utf-8")
    return path


def browse(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM is not None
    return subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
         f"--user-data-dir={folder / 'profile'}", "--disable-background-networking",
         "--disable-component-update", "--no-first-run", "--enable-logging=stderr",
         "--host-resolver-rules=MAP * ~NOTFOUND", *arguments],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("paper", list(WIDTHS))
def test_nothing_is_cut_off_and_every_figure_shows(page, tmp_path, paper):
    probed = tmp_path / "probe.html"
    probed.write_text(page.read_text("utf-8").replace("</body>", PROBE + "</body>"), "utf-8")
    done = browse(tmp_path, f"--window-size={WIDTHS[paper]},1000", "--dump-dom", probed.as_uri())
    said = re.search(r"PROBE(\{.*?\})PROBE", done.stdout)
    assert said, done.stderr[-500:]
    found = json.loads(said[1].replace("&quot;", '"').replace("&amp;", "&"))
    assert found["figures"] == 4 and found["empty"] == []
    assert found["wide"] <= found["view"] and found["cut"] == []


def test_the_browser_has_nothing_to_complain_of_and_fetches_nothing(page, tmp_path):
    log = tmp_path / "net.json"
    done = browse(tmp_path, f"--log-net-log={log}", "--dump-dom", page.as_uri())
    assert "CONSOLE" not in done.stderr
    assert "<svg" in done.stdout
    if log.exists():
        asked = re.findall(r'"initiator":"([^"]*)"', log.read_text("utf-8", "replace"))
        assert not [a for a in asked if a.startswith("file:") or a == "null"]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_both_papers(page, tmp_path, paper):
    sized = tmp_path / "sized.html"
    css = f"<style>@page {{ size: {paper.lower()}; }}</style></head>"
    sized.write_text(page.read_text("utf-8").replace("</head>", css), "utf-8")
    out = tmp_path / "page.pdf"
    done = browse(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={out}", sized.as_uri())
    assert out.exists(), done.stderr[-500:]
    data = out.read_bytes()
    boxes = {tuple(map(float, m.split())) for m in
             re.findall(r"/MediaBox\s*\[([^\]]*)\]", data.decode("latin-1"))}  # fmt: skip
    width = 595 if paper == "A4" else 612
    assert boxes and all(abs(box[2] - width) < 2 for box in boxes)
    pages = len(re.findall(rb"/Type\s*/Page\b", data))
    assert 4 <= pages <= 14
