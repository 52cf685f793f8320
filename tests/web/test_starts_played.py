"""Starts, time zone, title and names typed into the page of a lone week, by mouse at 1280 px and by keyboard at 390 px.

The week's files begin at the first fix, and its local time is UTC+2: that of Paris in May (IANA time zone data).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from accessible import COLOURS, RULES, serious_violations
from lone_week import lone_week
from visiting import PATIENCE_MS, Visit, served, tab_to, without_pictures

from gpsq.campaign import campaign_file, start_log

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

WEEK = lone_week(3)
FILES = sorted(WEEK.truth)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lone") / "week"
    WEEK.write(folder)
    return folder


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with served(folder) as (address, _):
        yield address


def local(file: str) -> str:
    """When start was pressed, as the clock on the wall showed it, in whole seconds."""
    shown = WEEK.truth[file].started + np.timedelta64(2, "h")
    return str(shown.astype("datetime64[s]")).partition("T")[2]


def pasted(file: str) -> str:
    """When start was pressed as a person writes it down: day first, local time."""
    day = str((WEEK.truth[file].started + np.timedelta64(2, "h")).astype("datetime64[D]"))
    return f"{int(day[8:])}.{int(day[5:7])}.{day[:4]};{local(file)}"


def kept(folder: Path, file: str) -> np.datetime64:
    return start_log.load(folder, campaign_file.load(folder)).entries[file].started.astype("datetime64[s]")


def started(file: str) -> np.datetime64:
    return WEEK.truth[file].started.astype("datetime64[s]")


def test_starts_are_typed_as_times_of_day_with_the_mouse(chromium: Any, address: str, folder: Path) -> None:
    visit = Visit(chromium, address, 1280, timezone_id="Europe/Paris")
    page, file = visit.page, FILES[0]
    page.wait_for_selector("#starts table")
    assert page.locator("#zone").input_value() == "Europe/Paris"
    assert page.locator("#zone-said").is_visible()
    assert not (folder / campaign_file.FILE).exists()
    fields = page.locator("#starts [name=started]")
    assert set(fields.evaluate_all("all => all.map((one) => one.placeholder)")) == {"hh:mm:ss"}

    field = page.get_by_label(f"Start of {file}", exact=True)
    row = field.locator("xpath=ancestor::tr")
    field.fill("7.43 or so")
    row.get_by_role("button", name="Save").click()
    assert "expected a time of day as hh:mm:ss" in row.locator(".beside").inner_text()
    assert field.get_attribute("aria-describedby") == row.locator(".beside").get_attribute("id")
    assert page.locator("#refusal").inner_text() == ""
    assert not (folder / start_log.FILE).exists()
    field.fill(local(file))
    assert row.locator(".beside").count() == 0
    row.get_by_role("button", name="Save").click()
    page.wait_for_selector(f"#starts tr:has-text('{file}') td:has-text('from the start log')")
    assert kept(folder, file) == started(file)
    assert campaign_file.load(folder).time_zone == "Europe/Paris"
    assert field.input_value() == local(file)

    page.get_by_text("Paste a start log").click()
    page.locator("#log").fill(f"date;pressed start\n{pasted(FILES[2])}\n4.5.2026;12:00:00\n")
    page.get_by_role("button", name="See what it says").click()
    page.wait_for_selector("#pasted caption:has-text('1 of 2 lines fit a recording')")
    fits, unfit = (row.inner_text() for row in page.locator("#pasted tbody tr").all())
    assert FILES[2] in fits
    assert f"{WEEK.truth[FILES[2]].ttff_s:.0f} s to the first fix" in fits.replace("\N{NO-BREAK SPACE}", " ")
    assert "after which no recording begins" in unfit
    assert FILES[2] not in start_log.load(folder, campaign_file.load(folder)).entries
    page.get_by_role("button", name="Keep 1 start").click()
    page.wait_for_selector("#pasted", state="detached")
    assert kept(folder, FILES[2]) == started(FILES[2])

    page.locator("#title").fill("The wristband’s week")
    page.locator("#title-button").click()
    page.wait_for_selector("h1:has-text('wristband’s week')")
    assert campaign_file.load(folder).title == "The wristband’s week"
    page.get_by_label("Way A", exact=True).fill("to the mill")
    page.get_by_role("button", name="Name way A").click()
    page.wait_for_selector("#deviations:has-text('to the mill'), #starts td:has-text('to the mill')")
    assert campaign_file.load(folder).routes == {"A": "to the mill"}
    visit.fits()
    visit.complaints.clear()  # the browser tells that a start was refused
    visit.close()


def test_starts_are_typed_by_keyboard_on_a_phone(chromium: Any, address: str, folder: Path) -> None:
    visit = Visit(chromium, address, 390, timezone_id="Europe/Paris", color_scheme="dark")
    page, file = visit.page, FILES[1]
    page.wait_for_selector("#starts table")
    tab_to(page, "#zone")
    page.keyboard.press("Control+A")
    page.keyboard.type("Paris")
    page.keyboard.press("Enter")
    page.wait_for_selector("#zone ~ .beside:has-text('IANA')")
    assert page.evaluate("document.activeElement.id") == "zone"
    page.keyboard.press("Control+A")
    page.keyboard.type("Europe/Berlin")
    page.keyboard.press("Enter")
    page.wait_for_selector("#zone[data-kept='Europe/Berlin']")
    assert campaign_file.load(folder).time_zone == "Europe/Berlin"
    tab_to(page, "#" + page.get_by_label(f"Start of {file}", exact=True).get_attribute("id"))
    page.keyboard.type("23:59")
    page.keyboard.press("Enter")
    page.wait_for_selector(f"#starts tr:has-text('{file}') .beside:has-text('after the first fix')")
    visit.fits()
    page.keyboard.press("Control+A")
    page.keyboard.type(local(file))
    page.keyboard.press("Enter")
    page.wait_for_selector(f"#starts tr:has-text('{file}') td:has-text('from the start log')")
    assert kept(folder, file) == started(file)
    assert page.evaluate("document.activeElement.name") == "started"  # the focus stays
    tab_to(page, "#paste summary")
    page.keyboard.press("Enter")
    tab_to(page, "#log")
    page.keyboard.type(f"{FILES[3]};{pasted(FILES[3]).replace(';', ' ')}")
    tab_to(page, "#paste-button")
    page.keyboard.press("Enter")
    page.wait_for_selector("#pasted tbody tr")
    visit.fits()
    tab_to(page, "#keep-log")
    page.keyboard.press("Enter")
    page.wait_for_selector("#pasted", state="detached")
    assert kept(folder, FILES[3]) == started(FILES[3])
    visit.complaints.clear()  # as above
    visit.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_served_page_has_no_serious_violation(chromium: Any, address: str, scheme: str) -> None:
    # at rest: a cell that has just changed fades from a strong colour, unless the person wants no motion
    at_rest = {"reduced_motion": "reduce", "color_scheme": scheme}
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, bypass_csp=True, **at_rest)
    context.set_default_timeout(PATIENCE_MS)
    without_pictures(context)  # of which no rule sees more than what they are called
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("#starts table")
    assert serious_violations(page, COLOURS if scheme == "dark" else RULES) == []
    context.close()
