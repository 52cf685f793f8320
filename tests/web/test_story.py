"""The whole story in a browser: an empty folder, eighteen files dropped, table, map, a flag, reload, publish, download.

Once with mouse and hand at 1280 px, once by keyboard alone at 390 px, in a dark room; and once without any script.
"""

from __future__ import annotations

import shutil
import zipfile
from typing import TYPE_CHECKING, Any

import pytest
from visiting import Visit, begun, served, tab_to
from web_session import DEMO

from gpsq.campaign import campaign_file, flags, start_log

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's last three days: both of its events, and the recording that never had a fix."""
    last = shutil.copytree(DEMO, tmp_path_factory.mktemp("last") / DEMO.name)
    for file in (*last.rglob("2025-09-08-*"), *last.rglob("2025-09-09-*")):
        file.unlink()
    return last


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """A page for an empty folder."""
    with served(tmp_path / "week") as (address, _):
        yield address


@pytest.fixture
def begun_address(tmp_path: Path) -> Iterator[str]:
    """The same, begun as a person begins it."""
    with begun(tmp_path / "week") as address:
        yield address


def test_the_story_with_the_mouse(chromium: Any, begun_address: str, demo: Path, tmp_path: Path) -> None:
    week, address = tmp_path / "week", begun_address
    visit = Visit(chromium, address, 1280)
    page = visit.page
    assert not page.locator("#fix").is_visible()
    page.set_input_files("#tree", str(demo))
    page.wait_for_selector("#fix table")
    page.wait_for_selector("#received .read >> nth=17")
    assert "of" in page.locator("#received .read .seen").first.inner_text()
    assert visit.drawn() == 17  # one never had a fix
    assert sorted(p.name for p in week.glob("*-unit")) == ["bag-unit", "bar-unit", "pocket-unit"]
    dropped = [folder / "bar-unit" / "2025-09-10-out.gpx" for folder in (week, demo)]
    assert dropped[0].read_bytes() == dropped[1].read_bytes()

    card = page.locator(".card.unflagged").filter(has_text="Suggested: route choice").first
    name, parts = card.get_attribute("id"), card.locator(".part").all()
    first, *_ = ids = [part.get_attribute("id") for part in parts]
    page.locator(f"#{name} > form input[name=note]").fill("the <b>bakery</b>")
    before = visit.figures()
    page.locator(f"#{name} > form").get_by_role("button", name="intentional", exact=True).click()
    page.wait_for_selector(f"#{name}.intentional")
    page.wait_for_selector("#fix .before")
    assert visit.figures() != before
    frame = page.wait_for_selector(f"#map-page[src$='{first}']").content_frame()
    frame.wait_for_selector("#chosen dt")  # the map stands on the flagged ride
    kept, _ = flags.load(week)
    assert {(flag.flag, flag.note) for flag in kept} == {("intentional", "the <b>bakery</b>")}
    assert len({flag.file for flag in kept}) == len(ids) == 3  # one decision, all three recordings

    page.reload()
    assert page.locator(f"#{name}.intentional").count() == 1
    assert page.locator(f"#{name} > form input[name=note]").input_value() == "the <b>bakery</b>"
    page.locator(f"#{name} > form").get_by_role("button", name="undo").click()
    page.wait_for_selector(f"#{name}.unflagged")
    assert flags.load(week) == ((), ())
    page.locator(f"#{name} > form").get_by_role("button", name="receiver error").click()
    page.wait_for_selector(f"#{name}.error")
    page.locator(f"#{first} summary").click()
    page.locator(f"#{first}").get_by_role("button", name="intentional", exact=True).click()
    page.wait_for_selector(f"#{name}.unflagged")  # not the same of all any more
    for _ in range(1200):  # the page shows a decision at once, and keeps it a moment later
        if {flag.flag for flag in flags.load(week)[0]} != {"error"}:
            break
        page.wait_for_timeout(100)
    assert sorted(flag.flag for flag in flags.load(week)[0]) == ["error", "error", "intentional"]

    _edit_by_hand(page, week)
    assert visit.pictures() == 2 + 4  # one of each way, and the four charts of the figures
    visit.fits()
    page.get_by_role("button", name="Make a copy fit to publish").click()
    with visit.archive(page.locator("#published").get_by_text("all of it as one archive").click) as archive:
        assert {"report.html", "map.html", "tracks.csv"} <= set(archive.namelist())
        everything = b"".join(archive.read(n) for n in archive.namelist() if n.endswith((".csv", ".html", ".json")))
        assert b"2025-09-10-out.gpx" not in everything
    with visit.archive(page.get_by_text("All results as one archive").click) as archive:
        assert {"report.html", "results.gpkg"} <= set(archive.namelist())
        assert b"Handle-bar" in archive.read("devices.csv")
    visit.quiet()
    page.get_by_role("link", name="Report", exact=True).click()
    page.wait_for_selector("#answer")
    page.get_by_role("link", name="map", exact=True).first.click()
    page.wait_for_selector("#gpsq_map .leaflet-control-scale-line")
    visit.complaints.clear()  # the driver's own scripts, which the report's policy refuses
    visit.close()


def _edit_by_hand(page: Any, week: Path) -> None:
    """A start, a name and a private place, each seen in the page and in the plain file."""
    file = "pocket-unit/2025-09-12-back.gpx"
    start = page.get_by_label(f"Start of {file}", exact=True)
    start.fill("2025-09-12T18:54:00Z")
    start.press("Enter")
    page.wait_for_selector("#starts td:has-text('fixed after 90')")
    assert str(start_log.load(week, campaign_file.load(week)).entries[file].started) == "2025-09-12T18:54:00.000"
    name = page.locator("#devices input[value=bar-unit]:not([type=hidden])")
    name.fill("Handle-bar")
    name.press("Enter")
    page.wait_for_selector("#fix th:has-text('Handle-bar')")
    page.locator("#ground").click()
    assert page.locator("#ground .circle-new").count() == 1
    page.get_by_role("button", name="Hide this place").click()
    page.wait_for_selector("#ground .circle-kept")
    (place,) = campaign_file.load(week).private_places
    assert abs(place.lat_deg - 56.21) < 0.05
    assert place.radius_m == 300.0


def test_the_story_by_keyboard_on_a_narrow_dark_screen(chromium: Any, address: str, demo: Path, tmp_path: Path) -> None:
    week = tmp_path / "week"
    visit = Visit(chromium, address, 390, color_scheme="dark")
    page = visit.page
    packed = tmp_path / "week.zip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in demo.glob("*-unit/*.gpx"):
            archive.write(file, file.relative_to(demo).as_posix())
    tab_to(page, "#files")
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files([packed, demo / "rides.csv"])
    page.wait_for_selector("#fix table")
    assert visit.drawn() == 17
    visit.fits()
    tab_to(page, ".card [name=note]")
    name = page.evaluate("document.activeElement.closest('.card').id")
    page.keyboard.type("by hand")
    tab_to(page, f"#{name} [value=intentional]")
    before = visit.figures()
    page.keyboard.press("Space")
    page.wait_for_selector(f"#{name}.intentional")
    page.wait_for_selector("#fix .before")
    assert visit.figures() != before
    assert page.evaluate("document.activeElement.id") == f"intentional-{name.removeprefix('e-')}"  # the focus stays
    page.reload()
    assert page.locator(f"#{name}.intentional > form [name=note]").input_value() == "by hand"
    assert flags.load(week)[0][0].note == "by hand"
    tab_to(page, "#ground")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    tab_to(page, "#add-place")
    page.keyboard.press("Enter")
    page.wait_for_selector("#places [name=remove]", state="attached")
    tab_to(page, "#publish")
    page.keyboard.press("Enter")
    page.wait_for_selector("#published")
    tab_to(page, "#published [download]")
    with visit.archive(lambda: page.keyboard.press("Enter")) as archive:
        assert "report.html" in archive.namelist()
    visit.fits()
    visit.close()


def test_the_story_without_a_script(chromium: Any, address: str, demo: Path) -> None:
    visit = Visit(chromium, address, 800, java_script_enabled=False)
    page = visit.page
    page.set_input_files("#files", [*demo.glob("bar-unit/*-out.gpx"), demo / "campaign.toml"])
    with page.expect_navigation():
        page.get_by_role("button", name="Add", exact=True).click()
    for _ in range(240):  # a browser whose scripts are off loads the page again by itself; a driven one does not
        if page.locator("#fix table").count():
            break
        page.wait_for_timeout(500)
        page.goto(address)
    page.locator("#devices input[name=new]").first.fill("Bar")
    page.get_by_role("button", name="Rename").first.click()
    page.wait_for_selector("#fix th:has-text('Bar')")
    page.locator("#lat").fill("91.5")
    page.locator("#lon").fill("0")
    page.get_by_role("button", name="Hide this place").click()
    assert "found 91.5 for lat" in page.locator("#refusal").inner_text()
    visit.complaints.clear()  # the browser tells that the form was refused
    visit.close()


def test_a_page_whose_server_is_gone_says_so_and_finds_it_again(chromium: Any, tmp_path: Path) -> None:
    with served(tmp_path) as (address, process):
        visit = Visit(chromium, address, 1280)
        process.kill()
    visit.page.wait_for_selector("#refusal:has-text('cannot reach gpsq serve')")
    with served(tmp_path, int(address.rstrip("/").rpartition(":")[2])):
        visit.page.wait_for_selector("#refusal:not(:has-text('cannot reach'))", state="attached")
    visit.context.close()
    assert visit.elsewhere == []  # the browser complains of every request that was not answered, and may
