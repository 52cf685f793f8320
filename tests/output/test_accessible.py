"""Pages for everyone: no serious violation of WCAG 2.2 A and AA that axe-core finds, light and dark, on every page that is made."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import pytest
from accessible import COLOURS, RULES, serious_violations
from browser import Window
from output_sample import charts, sample
from written_results import one

from gpsq.output.campaigns_page import write_compared
from gpsq.output.map.page import map_page
from gpsq.output.report.page import report_page
from gpsq.output.share import shared_page
from gpsq.settings import Settings
from gpsq.summaries.across.campaigns import compare_campaigns

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

#: The published report stands in the page to share, as it is, with the map inside it.
PAGES = ("report", "map", "compare", "share")


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("accessible")
    analysis = sample()
    cut = dataclasses.replace(analysis, published=True, folder="")
    texts = {"report": report_page(analysis, charts()), "map": map_page(analysis)}
    texts["share"] = shared_page(report_page(cut, charts()), map_page(cut))
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    found = compare_campaigns([one(folder, "spring"), one(folder, "autumn", title="Week 2")], Settings())
    write_compared(found, folder / "together")
    return {name: folder / f"{name}.html" for name in texts} | {"compare": folder / "together" / "compare.html"}


@pytest.fixture(scope="module")
def axe(chromium: Any) -> Iterator[Any]:
    """Open a page in a look and a width, and return what is serious."""
    window = Window(chromium, bypass_csp=True)

    def run(path: Path, scheme: str, width: int = 1280, do: str = "1") -> list[str]:
        page = window.show(path, width, scheme).page
        page.evaluate(do)
        return serious_violations(page, COLOURS if scheme == "dark" else RULES)

    yield run
    window.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_no_serious_violation(axe: Any, pages: dict[str, Path], name: str, scheme: str) -> None:
    assert axe(pages[name], scheme) == []


@pytest.mark.parametrize(
    "do", ["1", "document.getElementById('key-button').click(); document.getElementById('after').click()"]
)
def test_no_serious_violation_on_a_phone(axe: Any, pages: dict[str, Path], do: str) -> None:
    assert axe(pages["map"], "light", 390, do) == []
