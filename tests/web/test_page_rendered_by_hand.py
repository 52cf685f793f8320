"""The page as a person gets it, made from the analysis in which every figure is another number: each form with all that it
sends, each cell of the table of starts, each decision, and what is said of a pasted log, of places and of copies to publish."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from by_hand import by_hand
from hand_desk import hand_desk
from lxml import html

from gpsq.campaign import campaign_file
from gpsq.results import Way
from gpsq.web import campaign_edits, page_data, pages
from gpsq.web.pasted_log import Line, Pasted
from gpsq.web.session import Results

if TYPE_CHECKING:
    from pathlib import Path

ANALYSIS = by_hand(time_zone="+02:00")


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A desk that shows the analysis, whose pictures are names alone."""
    drawings = [
        type("Drawn", (), {"name": n, "title": f"of {n}"}) for n in ("overlay-a", "overlay-b", "overlay-c", "fix")
    ]
    monkeypatch.setattr(page_data.all_charts, "drawings", lambda analysis: drawings)
    desk = hand_desk(tmp_path, monkeypatch)
    desk.token = "the token"  # noqa: S105 - a word to be found again
    desk.results = Results(3, ANALYSIS, "map", page_data.of_analysis(ANALYSIS, {}))
    return desk


def shown(desk: Any, *more: Any) -> Any:
    return html.fromstring(pages.page(desk, *more))


def plain(node: Any) -> str:
    return " ".join(node.text_content().replace("\N{NO-BREAK SPACE}", " ").split())


def sends(form: Any) -> tuple[str, list[tuple[str, str]], list[str]]:
    """Return where a form goes, what it holds besides the token, and what its buttons say."""
    fields = [(f.get("name"), f.value or "") for f in form.iterdescendants("input", "textarea")]
    assert fields[0] == ("token", "the token")
    return form.get("action"), fields[1:], [plain(b) for b in form.iterdescendants("button")]


def forms(page: Any, part: str) -> list[tuple[str, list[tuple[str, str]], list[str]]]:
    return [sends(form) for form in page.get_element_by_id(part).iterdescendants("form")]


def texts(page: Any, path: str) -> list[str]:
    return [plain(node) for node in page.cssselect(path)]


def test_what_is_being_done_is_said_with_its_numbers(desk: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    told, real = {"what": "reading", "done": 3, "of": 7}, pages.status
    monkeypatch.setattr(pages, "status", lambda desk: real(desk) | told)
    page = shown(desk)
    assert texts(page, "#work-words") == ["reading, 3 of 7"]
    bar = page.get_element_by_id("work-bar")
    assert (bar.get("value"), bar.get("max"), page.get_element_by_id("work").get("hidden")) == ("3", "7", None)


def test_each_decision_is_on_what_it_stands_beside(desk: Any) -> None:
    """An event's form sends all its deviations, a part's that one alone; undo stands where there is a decision."""
    page = shown(desk)
    three = ["intentional", "receiver error", "undo"]
    assert forms(page, "deviations") == [
        ("/flag", [("id", "d0a"), ("id", "d1b"), ("note", "")], three[:2]),
        ("/flag", [("id", "d0a"), ("note", "")], three[:2]),
        ("/flag", [("id", "d1b"), ("note", "")], three[:2]),
        ("/flag", [("id", "d1c"), ("note", "under the bridge")], three),
    ]
    pressed = [b.get("aria-pressed") for b in page.cssselect("#deviations button[aria-pressed]")]
    assert pressed == ["false"] * 6 + ["false", "true"]
    assert texts(page, "#deviations > p")[0].startswith(
        "3 stretches off the centreline in 2 events, 2 without your decision."
    )
    assert texts(page, ".card > [data-said]") == ["No decision yet", "Receiver error"]
    assert [card.get("class") for card in page.cssselect(".card")] == ["card unflagged", "card error"]
    assert [part.get("data-state") for part in page.cssselect(".part")] == ["unflagged", "unflagged", "error"]
    assert [link.get("data-show") for link in page.cssselect("#deviations a")] == ["d-d0a", "d-d1c"]


def test_an_event_of_two_decisions_is_undecided_as_a_whole(desk: Any) -> None:
    found = list(ANALYSIS.deviations)
    found[0] = replace(found[0], flag="intentional")
    results = (replace(ANALYSIS.results[0], deviations=(found[0],)), *ANALYSIS.results[1:])
    analysis = replace(ANALYSIS, deviations=tuple(found), results=results)
    desk.results = Results(3, analysis, "map", page_data.of_analysis(analysis, {}))
    page = shown(desk)
    assert texts(page, "#e-E77 > [data-said]") == ["No decision yet"]
    assert texts(page, "#e-E77 .part [data-said]") == ["intentional", "no decision yet"]
    assert [buttons for _, _, buttons in forms(page, "e-E77")] == [
        ["intentional", "receiver error"], ["intentional", "receiver error", "undo"], ["intentional", "receiver error"],
    ]  # fmt: skip


def test_every_cell_of_the_table_of_starts(desk: Any) -> None:
    """A file has one field, beside its first recording: the later ones have the same row of the start log."""
    page = shown(desk)
    rows = [[plain(cell) for cell in row.iterdescendants("th", "td")] for row in page.cssselect(".stack tr")]
    assert rows == [
        ["recording", "device, ride, route", "first fix", "started (UTC+02:00)", "remarks"],
        ["amber/mon.gpx", "AmberMon 4 May 09:00, out",
         "fixed after 23 s, 61 m missedstart from the start log; fix at 09:00:30 (UTC+02:00)", "Start of amber/mon.gpxSave",
         "worn on the left"],
        ["basalt/mon.gpx (2)", "BasaltMon 4 May 09:00, out",
         "fixed after 59 s, at least 179 m missedstart from records before the fix; fix at 09:01:11.250 (UTC+02:00)", "",
         "stopped 219 m before the others of its way end"],
        ["amber/tue.gpx", "AmberTue 5 May 09:03, no route", "never fixed in 10 min 14 sstart from the start log",
         "Start of amber/tue.gpxSave", "it never found a position"],
        ["basalt/wed.gpx", "BasaltWed 6 May 19:20, home",
         "fixed after about 17 s (12 s to 27 s), 12 m missedworked out from the road missed; start pressed is not "
         "recorded; fix at 19:20:00 (UTC+02:00)", "Start of basalt/wed.gpxSave",
         "only 1 ride on this route: cross-track error needs 3"],
    ]  # fmt: skip
    assert texts(page, ".stack caption") == ["4 recordings, 1 more could not be read"]
    assert [form for form in forms(page, "starts") if form[0] == "/start"] == [
        ("/start", [("file", "amber/mon.gpx"), ("started", "09:00:07")], ["Save"]),
        ("/start", [("file", "amber/tue.gpx"), ("started", "09:03:00")], ["Save"]),
        ("/start", [("file", "basalt/wed.gpx"), ("started", "")], ["Save"]),
    ]
    assert texts(page, "#starts > ul li") == ["amber/thu.gpx: found a web page", "Two clocks were set by hand."]


def test_a_file_that_came_under_another_name_says_so(desk: Any) -> None:
    (desk.folder / ".gpsq-names.csv").write_text(
        "file,original_name,sha256\namber/mon.gpx,D:/track 7.gpx,a\namber/tue.gpx,week/amber/tue.gpx,b\n"
    )
    assert texts(shown(desk), "#starts th .bounds") == ["came as D:/track 7.gpx"]


def test_what_is_said_of_a_pasted_log(desk: Any) -> None:
    lines = (Line("7:00 amber", "amber/mon.gpx", "23 s to the first fix"), Line("8 o'clock", "", "found no date"))
    without = tuple(f"{k}.gpx" for k in range(1, 8))
    desk.pasted = Pasted(
        "7:00 amber\n8 o'clock", lines, ({"file": "amber/mon.gpx"},), ("a heading",), "Europe/Paris", without
    )
    page = shown(desk)
    assert texts(page, "#pasted caption") == ["1 of 2 lines fit a recording; nothing is kept yet"]
    assert [[plain(c) for c in row.iterdescendants("th", "td")] for row in page.cssselect("#pasted tbody tr")] == [
        ["7:00 amber", "amber/mon.gpx", "23 s to the first fix"], ["8 o'clock", "none", "found no date"],
    ]  # fmt: skip
    assert [row.get("class") for row in page.cssselect("#pasted tbody tr")] == [None, "unfit"]
    assert texts(page, "#pasted > p") == [
        "a heading", "Still without a start: 1.gpx, 2.gpx, 3.gpx, 4.gpx, 5.gpx and 2 more.",
        "Times without a zone are read as those of Europe/Paris, which is kept too.",
    ]  # fmt: skip
    assert ("/keep", [], ["Keep 1 start"]) in forms(page, "paste")
    desk.pasted = Pasted("8 o'clock", lines[1:], without=without[:5])
    page = shown(desk)
    assert texts(page, "#pasted > p") == ["Still without a start: 1.gpx, 2.gpx, 3.gpx, 4.gpx, 5.gpx."]
    assert [action for action, *_ in forms(page, "paste")] == ["/paste"]


def test_names_and_ways_are_sent_with_what_they_name(desk: Any) -> None:
    analysis = replace(ANALYSIS, ways={"home": Way("home, evenings", "home, evenings")})
    desk.results = Results(3, analysis, "map", page_data.of_analysis(analysis, {}))
    assert forms(shown(desk), "devices") == [
        ("/title", [("title", "Quay and weir")], ["Keep"]),
        ("/way", [("route", "out"), ("way", "")], ["Keep"]),
        ("/way", [("route", "home"), ("way", "home, evenings")], ["Keep"]),
        ("/device", [("old", "Amber"), ("new", "Amber")], ["Rename"]),
        ("/device", [("old", "Basalt"), ("new", "Basalt")], ["Rename"]),
    ]


def test_a_private_place_is_removed_by_what_it_is(desk: Any) -> None:
    campaign_edits.add_place(desk.folder, 51.234567, -3.987654, 350.0)
    page = shown(desk)
    assert forms(page, "private") == [
        ("/place", [("lat", ""), ("lon", ""), ("radius_m", "300")], ["Hide this place"]),
        ("/place", [("lat", "51.234567"), ("lon", "-3.987654"), ("radius_m", "350.0"), ("remove", "1")], ["Remove"]),
    ]
    assert texts(page, "#private li span") == ["51.23457, -3.98765: 350 m around"]


def test_a_campaign_file_that_cannot_be_followed_is_told_beside_the_places(desk: Any) -> None:
    (desk.folder / campaign_file.FILE).write_text("titel = 'x'\n")
    (notice,) = texts(shown(desk), "#private .notice")
    assert notice.startswith("campaign.toml: found the key 'titel'")


def test_pictures_stand_before_and_after_the_figures(desk: Any) -> None:
    """Two overlays at most before them; of each the picture of this page's number."""
    page = shown(desk)
    images = [(i.get("alt"), i.get("src")) for i in page.cssselect("#fix > .picture img, .pictures img")]
    assert images == [
        ("of overlay-a", "/gpsq-results/figures/overlay-a.svg?as=page&n=3"),
        ("of overlay-b", "/gpsq-results/figures/overlay-b.svg?as=page&n=3"),
        ("of overlay-c", "/gpsq-results/figures/overlay-c-square.svg?as=page&n=3"),
        ("of fix", "/gpsq-results/figures/fix-square.svg?as=page&n=3"),
    ]


def test_what_would_be_cut_and_what_was_published_is_for_the_person_alone(desk: Any) -> None:
    page = shown(desk)
    assert page.cssselect("#cuts, #published") == []
    desk.preview, desk.published = ("Route A: 2 km of 3 km is shown.",), ("a warning",)
    page = shown(desk)
    assert texts(page, "#cuts > p")[0] == "For you alone; nothing is written yet:"
    assert texts(page, "#cuts li") == ["Route A: 2 km of 3 km is shown."]
    assert texts(page, "#published li") == ["a warning"]
    assert [a.get("href") for a in page.cssselect("#published a")] == [
        "/published/report.html", "/published/map.html", "/published/share.html", "/published/everything.zip",
    ]  # fmt: skip
    assert [action for action, *_ in forms(page, "take")] == ["/preview", "/publish", "/analyse"]
    desk.published = ()
    assert texts(shown(desk), "#published li") == []


@pytest.mark.parametrize(
    ("key", "field", "part"),
    [
        ("zone ", "zone", "starts"), ("title ", "title", "devices"), ("way home", "way-2", "devices"),
        ("device Basalt", "device-2", "devices"), ("start basalt/wed.gpx", "start-4", "starts"),
    ],
)  # fmt: skip
def test_a_refusal_stands_in_its_own_form_with_what_was_typed(desk: Any, key: str, field: str, part: str) -> None:
    page = shown(desk, "found 7 or so", pages.About(key, "7 or so"))
    (beside,) = page.get_element_by_id(part).cssselect("form .beside")
    assert plain(beside) == "found 7 or so"
    typed = page.get_element_by_id(field)
    assert typed.get("value") == "7 or so"
    assert beside.getparent() is typed.getparent()
    assert [i.get("id") for i in page.cssselect("input[value='7 or so']")] == [field]
