"""Pages in a real browser: no faults, nothing wider than a phone, every control reached and working.

Skipped where playwright (extra ``browser``) or a Chromium is missing; nothing is fetched from anywhere.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from meltwright.cli import main
from meltwright.meaning.loading import library_folder

from tests.output.pages import HARMFUL

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed (extra 'browser')")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium on this machine")

FOCUSABLE = "a[href], button, input, select, [tabindex='0']"
SIZES = {"desk": (1280, 900), "phone": (400, 800)}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    (folder / "harm.melt").write_text(HARMFUL, encoding="utf-8")
    files = [library_folder() / "demos" / "watch_strap.melt", folder / "harm.melt"]
    assert main(["compile", *map(str, files), "--out", str(folder / "out")]) == 0
    return folder / "out"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield running
        running.close()


class Opened:
    """A page that is open, and what went wrong in it."""

    def __init__(
        self, browser: Any, path: Path, size: str = "desk", scheme: str = "light", script: bool = True
    ) -> None:
        width, height = SIZES[size]
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, java_script_enabled=script
        )
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("console", lambda message: self.faults.append(message.text))
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("dialog", lambda dialog: self.faults.append(dialog.message))
        self.page.on("requestfailed", lambda request: self.faults.append(request.url))
        self.page.goto(path.as_uri())

    def __enter__(self) -> "Opened":
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_have_no_faults_and_fit(made: Path, browser: Any, size: str, scheme: str) -> None:
    grounds = set()
    for path in sorted(made.rglob("*.html")):
        with Opened(browser, path, size, scheme) as opened:
            assert opened.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0], path.name
            grounds.add(opened.page.evaluate("getComputedStyle(document.body).backgroundColor"))
            assert opened.faults == []
    (ground,) = grounds
    assert (sum(int(n) for n in ground[4:-1].split(",")) > 600) == (scheme == "light")


def test_the_keyboard_reaches_every_control(made: Path, browser: Any) -> None:
    for name in ("corner_tube", "overview"):
        with Opened(browser, made / "watch_strap" / f"{name}.html") as opened:
            page = opened.page
            wanted = page.evaluate(
                f'[...document.querySelectorAll("{FOCUSABLE}")].filter((e) => e.checkVisibility())'
                ".map((e, k) => { e.dataset.walk = k; return k; })"
            )
            seen = []
            for _ in range(len(wanted) + 1):
                page.keyboard.press("Tab")
                seen.append(page.evaluate("document.activeElement.dataset.walk ?? ''"))
                outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert seen[-1] == "" or outline != "none"
            assert [int(s) for s in seen if s != ""][: len(wanted)] == wanted


def test_the_skip_link_shows_itself_and_leads_past_the_links(made: Path, browser: Any) -> None:
    with Opened(browser, made / "watch_strap" / "corner_tube.html") as opened:
        link = opened.page.locator("a.skip")
        assert link.bounding_box()["x"] < 0
        opened.page.keyboard.press("Tab")
        assert link.bounding_box()["x"] >= 0
        opened.page.keyboard.press("Enter")
        assert opened.page.url.endswith("#main")


def test_the_window_is_read_with_the_keyboard_and_the_pointer(made: Path, browser: Any) -> None:
    with Opened(browser, made / "watch_strap" / "corner_tube.html") as opened:
        page = opened.page
        output, up = page.locator(".reader output"), page.locator(".reader input").nth(1)
        assert output.inner_text().startswith("All requirements hold.")
        up.focus()
        page.keyboard.press("End")
        assert "missed" in output.inner_text().splitlines()[0]
        assert page.locator(".reader li").count() == 3
        assert "missed by" in page.locator(".reader li").first.inner_text()
        page.get_by_role("button", name="Back to what was chosen").press("Enter")
        assert output.inner_text().startswith("All requirements hold.")
        box = page.locator("[data-window] svg").bounding_box()
        page.locator("[data-window] svg").hover(position={"x": box["width"] / 2, "y": 40})
        assert "missed" in output.inner_text().splitlines()[0]
        assert opened.faults == []


def test_the_fleet_is_sorted_and_filtered(made: Path, browser: Any) -> None:
    with Opened(browser, made / "watch_strap" / "overview.html") as opened:
        page = opened.page
        names = page.locator("table[data-fleet] tbody th")
        head = page.locator("table[data-fleet] thead th").nth(1)
        values = page.locator("table[data-fleet] tbody tr td:nth-child(2)")
        head.get_by_role("button").press("Enter")
        rising = [float(t.split()[0]) for t in values.all_inner_texts()]
        assert rising == sorted(rising) and head.get_attribute("aria-sort") == "ascending"
        head.get_by_role("button").press("Enter")
        assert [float(t.split()[0]) for t in values.all_inner_texts()] == rising[::-1]
        assert head.get_attribute("aria-sort") == "descending"
        search, status = page.get_by_label("Show rows with these words"), page.get_by_role("status")
        search.fill("gantry")
        assert names.all_inner_texts() == ["gantry_direct"]
        assert status.inner_text() == "1 of 3 machines shown"
        search.fill("no such machine")
        assert names.count() == 0
        search.fill("")
        choice = page.locator(".tools select")
        choice.select_option(index=1)
        limit = choice.locator("option").nth(1).inner_text()
        assert names.count() >= 1
        assert all(limit in t for t in page.locator("table[data-fleet] tbody tr").all_inner_texts())
        assert opened.faults == []


def test_pages_are_read_without_a_script(made: Path, browser: Any) -> None:
    with Opened(browser, made / "watch_strap" / "corner_tube.html", script=False) as opened:
        assert not opened.page.locator(".reader").is_visible()
        assert opened.page.locator("[data-window] svg").is_visible()
        assert opened.page.locator("#settings").is_visible()
    with Opened(browser, made / "watch_strap" / "overview.html", script=False) as opened:
        assert not opened.page.locator("[data-tools]").is_visible()
        assert opened.page.locator("table[data-fleet] tbody tr").count() == 3


def test_texts_of_others_run_nothing(made: Path, browser: Any) -> None:
    for path in sorted((made / "job").glob("*.html")):
        with Opened(browser, path) as opened:
            opened.page.locator("body").hover()
            assert opened.faults == [] and opened.page.locator("img").count() == 0
