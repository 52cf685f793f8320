"""One page to hand on: report and map in one file, which asks for nothing and says that ends are cut."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

import pytest
from output_sample import charts, sample

from gpsq.output.map.page import map_page
from gpsq.output.report.page import report_page
from gpsq.output.share import shared_page

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    analysis = dataclasses.replace(sample(), published=True, folder="")
    path = tmp_path_factory.mktemp("share") / "share.html"
    path.write_text(shared_page(report_page(analysis, charts()), map_page(analysis)), "utf-8")
    return path


@pytest.mark.parametrize("width", [390, 1280])
def test_map_and_report_work_in_one_file_without_a_network(open_page: Any, page: Path, width: int) -> None:
    opened = open_page(page, width)
    shown = opened.page
    frame = shown.wait_for_selector("iframe.map").content_frame()
    frame.wait_for_selector("body[data-recordings]:not([data-recordings='0'])")
    assert "ends cut, first fixes moved along the road" in frame.locator("#plate").inner_text()
    assert "ends cut, first fixes moved along the road" in shown.locator(".notice").first.inner_text()
    assert {"shown from", "shown to"} <= set(frame.locator("[data-label]").all_text_contents())
    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    assert shown.locator("a[href='map.html']").count() == 0
    assert [url for url in opened.requests[1:] if not url.startswith(("data:", "about:"))] == []
    assert opened.complaints == []
