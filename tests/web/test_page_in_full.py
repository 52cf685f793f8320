"""The page in full, in three states: all that stands there, each word, label, address, bound and state, in its order.

What is expected was written out line by line in ``in_full``, from what the analysis by hand holds and what a person is to be
told; a change of the page is a change there, to be read before it is kept.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from by_hand import by_hand, one_recording
from hand_desk import hand_desk
from lxml import html
from outline import heads_and_heads_said, outline, swatches

from gpsq.output.drawing.looks import device_looks
from gpsq.output.report.sketches import MARKS
from gpsq.web import campaign_edits, page_data, pages
from gpsq.web.jobs import Progress
from gpsq.web.pasted_log import Line, Pasted
from gpsq.web.received import Received
from gpsq.web.session import Results

if TYPE_CHECKING:
    from gpsq.results import Analysis

HERE = Path(__file__).parent / "in_full"
PICTURES = ("overlay-a", "overlay-b", "overlay-c", "fix")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    drawings = [SimpleNamespace(name=name, title=f"of {name}") for name in PICTURES]
    monkeypatch.setattr(page_data.all_charts, "drawings", lambda analysis: drawings if len(analysis.traces) > 1 else [])
    desk = hand_desk(tmp_path, monkeypatch)
    desk.token, desk.results = "T", None
    return desk


def show(desk: Any, number: int, analysis: Analysis) -> None:
    desk.results = Results(number, analysis, "map", page_data.of_analysis(analysis, {}, unmoved=number > 1))


def fill(desk: Any) -> None:
    """Put something of everything on the desk."""
    show(desk, 3, by_hand())
    campaign_edits.add_place(desk.folder, 51.234567, -3.987654, 350.0)
    lines = (Line("7:00 amber", "amber/mon.gpx", "23 s to the first fix"), Line("8 o'clock", "", "found no date"))
    rows = ({"file": "amber/mon.gpx"}, {"file": "amber/tue.gpx"})
    desk.pasted = Pasted(
        "7:00 amber\n8 o'clock", lines, rows, ("a heading",), "Europe/Paris", ("amber/wed.gpx", "basalt/wed.gpx")
    )
    desk.preview, desk.published = ("Route A: 2 km of 3 km is shown.",), ("a warning",)
    looked_into = Received("b/c.gpx", "stored.", "read", "30 fixes", ["It is odd."])
    desk.received = [Received("a.gpx", "was stored.", "being read"), looked_into]
    desk.analyst.progress, desk.problem = Progress("reading", 2, 7), "no rides"


def shown(desk: Any, *more: Any) -> Any:
    return html.fromstring(pages.page(desk, *more).replace(str(desk.folder), "/folder"))


def expected(name: str) -> list[str]:
    return (HERE / f"{name}.txt").read_text("utf-8").splitlines()


def test_an_empty_folder(desk: Any) -> None:
    assert outline(shown(desk)) == expected("page_empty")


def test_something_of_everything(desk: Any) -> None:
    fill(desk)
    assert outline(shown(desk, "No such thing.")) == expected("page_whole")


def test_one_recording_alone(desk: Any) -> None:
    """Parts that say less of less: one of each, nothing typed, nothing to be told of a publication."""
    show(desk, 1, one_recording(title="", time_zone="Europe/Paris"))
    desk.published = ()
    page = shown(desk)
    parts = [page.get_element_by_id(name) for name in ("fix", "deviations", "starts", "devices", "take")]
    assert [line for part in parts for line in outline(part)] == expected("page_least")


def test_stretches_events_and_decisions_are_counted_apart(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three, two and one; and of two events one is shown."""
    monkeypatch.setattr(page_data, "MOST_CARDS", 1)
    first, *others = by_hand().deviations
    show(desk, 3, by_hand(deviations=(replace(first, flag="intentional"), *others)))
    said = [" ".join(p.text_content().split()) for p in shown(desk).cssselect("#deviations > p")]
    assert said[0].startswith("3 stretches off the centreline in 2 events, 1 without your decision. Intentional: ")
    assert said[1:] == ["The first 1 of 2 events are shown; deviations.csv has all."]


def test_what_is_not_readable_and_what_is_noticed_are_told_apart(desk: Any) -> None:
    """Each where there is any; and several remarks on a recording are told one after the other."""
    traces = by_hand().traces
    two = (replace(traces[0], notes=("It is odd.", "It is short.")), *traces[1:])
    for more, heads in (({"notes": ()}, ["Not readable"]), ({"unreadable": (), "traces": two}, ["Noticed"])):
        show(desk, 3, by_hand(**more))
        page = shown(desk)
        assert [h.text for h in page.cssselect("#starts h3")] == heads
    assert page.cssselect(".stack td.words")[3].text_content() == "It is odd.; It is short.; worn on the left"


def test_every_figure_that_is_given_is_shown_in_its_row(desk: Any) -> None:
    fill(desk)
    for table, name in zip(shown(desk).cssselect("#fix table"), ("fix", "errors"), strict=True):
        given = [
            [device, str(rides), *(f"{cell.value}{cell.bounds}" for cell in cells)]
            for device, rides, cells in desk.results.shown[name]["rows"]
        ]
        assert [[cell.text_content().strip() for cell in row] for row in table.iterfind("tbody/tr")] == given


def test_each_label_is_of_a_field_and_each_field_has_one(desk: Any) -> None:
    fill(desk)
    page = shown(desk)
    labels = [label.get("for") for label in page.iter("label")]
    fields = [f.get("id") for f in page.iter("input", "textarea") if f.get("type") != "hidden"]
    assert sorted([*labels, "sent"]) == sorted([*fields, "sent", "sent"])
    assert [t.get("class") for t in page.cssselect("td .bounds") if t.getprevious() is None] == [
        "bounds why" if t.getparent().text.startswith("unknown") else "bounds"
        for t in page.cssselect("td .bounds") if t.getprevious() is None
    ]  # fmt: skip


def test_every_cell_of_figures_says_what_it_is(desk: Any) -> None:
    """On a narrow screen a heading is not seen: each cell bears its own."""
    fill(desk)
    page = shown(desk)
    for table in page.cssselect("table.stack"):
        table.drop_tree()
    for heads, said in heads_and_heads_said(page):
        assert said == heads


def test_each_device_stands_beside_its_own_line(desk: Any) -> None:
    fill(desk)
    looks = device_looks(by_hand())
    found = list(swatches(shown(desk)))
    assert {name for name, *_ in found} == {"Amber", "Basalt"}
    assert len(found) == 15
    for name, colour, dashes, mark, fill_colour in found:
        look = looks[name]
        assert (colour, mark, fill_colour) == (look.colour, MARKS[look.mark], look.colour)
        assert (dashes or "") == " ".join(map(str, look.dashes))


def test_what_was_before_and_at_first_stands_in_its_figure(desk: Any) -> None:
    """One figure was another before, one at first and before, one at first alone; nothing else is marked."""
    now = page_data.figures(by_hand())
    names = [c.name for c in page_data.columns.shown("errors")][:3]
    before = now | {("Amber", names[0]): "2.9 m", ("Amber", names[1]): "7.7 m"}
    first = now | {("Amber", names[1]): "8.8 m", ("Amber", names[2]): "9.9 m"}
    desk.results = Results(3, by_hand(), "map", page_data.of_analysis(by_hand(), before, first))
    changed = [" ".join(cell.text_content().split()) for cell in shown(desk).cssselect("td.changed")]
    assert changed == [
        "2.3 m1.8 m to 3.3 m, from 9 of 12before: 2.9 m",
        "4.2 m3.7 m to 5.4 m, from 9 of 12before: 7.7 mat first: 8.8 m",
        "8.5 m7.6 m to 9.9 m, from 9 of 12at first: 9.9 m",
    ]
