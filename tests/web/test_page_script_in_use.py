"""What a person sees of the page's scripts while using it: what is busy, refused, lost and found again, shown and kept."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from page_window import NOTED, SCROLLED, SHORT_MS, Server, drop, sent, show

from gpsq.campaign.campaign_file import PrivatePlace
from gpsq.web.received import Received

if TYPE_CHECKING:
    from pathlib import Path

LOST = "The page cannot reach gpsq serve. If it was stopped, start it again and load this page anew; nothing that was kept is lost."
#: What is sent is answered so; what the page asks meanwhile of how things stand goes on.
ANSWERED = """([status, body]) => {
  const real = window.there ??= window.fetch;
  window.fetch = async (url, told) => told?.method === "POST" ? new Response(body, { status }) : real(url, told);
}"""
GONE = "() => { window.there ??= window.fetch; window.fetch = async () => { throw new TypeError('no'); }; }"
#: What is seen on the page at the moment when something is sent.
SEEN_WHEN_SENT = """(what) => {
  const inner = window.fetch;
  window.seen = [];
  window.fetch = async (url, told) => {
    if (told?.method === "POST") window.seen.push(eval(what));
    return inner(url, told);
  };
}"""
PAGES_COUNTED = """() => {
  const inner = window.fetch;
  window.made = 0;
  window.fetch = (url, told) => { window.made += url === "/"; return inner(url, told); };
}"""
BACK = "() => { window.fetch = window.there; }"


def text(page: Any, selector: str) -> str:
    return str(page.locator(selector).evaluate("(node) => node.textContent.replaceAll('\\u00a0', ' ').trim()"))


# ---- what is sent, and what becomes of it ----
def test_what_is_sent_bears_the_token_and_its_buttons_are_busy_until_it_is_answered(page: Any) -> None:
    page.evaluate(NOTED, [])
    page.evaluate(SEEN_WHEN_SENT, "[...document.querySelectorAll('#e-E88 .buttons button')].map((b) => b.ariaBusy)")
    page.locator("#intentional-E88").click()
    page.wait_for_selector("#e-E88.intentional")
    page.wait_for_function("document.getElementById('intentional-E88').ariaBusy === 'false'")
    assert page.evaluate("window.seen") == [["true", "true", "true"]]
    assert {b.get_attribute("aria-busy") for b in page.locator("#e-E88 .buttons button").all()} == {"false"}
    assert page.evaluate("window.heads") == [
        {"Accept": "application/json", "X-Gpsq-Token": page.evaluate("document.body.dataset.token")}
    ]


def test_a_decision_on_an_event_is_one_on_all_its_recordings_and_can_be_taken_back(page: Any, server: Server) -> None:
    page.evaluate(NOTED, [])
    page.locator("#error-E77").click()
    page.wait_for_selector("#e-E77.error")
    assert [b.get_attribute("aria-pressed") for b in page.locator("#e-E77 button[aria-pressed]").all()] == [
        "false",
        "true",
    ] * 3
    assert [text(page, f"#{part} [data-said]") for part in ("d-d0a", "d-d1b")] == ["receiver error"] * 2
    assert text(page, "#e-E77 > .state") == "Receiver error"
    page.locator("#clear-E88").focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#e-E88.unflagged")
    assert (text(page, "#e-E88 > .state"), page.locator("#d-d1c").get_attribute("data-state")) == (
        "No decision yet",
        "unflagged",
    )
    assert [dict(fields)["decision"] for _, fields in sent(page)] == ["error", "clear"]
    show(server.desk, 4, deviations=tuple(d for d in ()))
    page.wait_for_selector("#deviations:has-text('None was found.')")
    assert page.locator("#map-page").get_attribute("src") == "/gpsq-results/map.html?n=4#d-d1c", "the one decided last"


def test_focus_goes_to_a_decision_where_undo_is_gone(page: Any, server: Server) -> None:
    page.locator("#clear-E88").focus()
    first, second, third = server.desk.results.analysis.deviations
    results = server.desk.results.analysis.results
    undone = replace(third, flag="", note="")
    show(
        server.desk,
        4,
        deviations=(first, second, undone),
        results=(results[0], replace(results[1], deviations=(second, undone)), *results[2:]),
    )
    page.wait_for_selector("#clear-E88", state="detached")
    assert page.evaluate("document.activeElement.id") == "intentional-E88"


def test_why_a_form_was_refused_is_told_beside_it(page: Any) -> None:
    refusals = (
        (409, json.dumps({"problem": "It is full."}), "It is full."),
        (500, "<h1>oh</h1>", "The server answered 500."),
    )
    told = page.locator("#take .beside")
    for status, body, said in refusals:
        page.evaluate(ANSWERED, [status, body])
        page.locator("#preview").click()
        page.wait_for_selector(f"#take .beside:text-is('{said}')")
        assert (told.count(), told.get_attribute("role"), told.get_attribute("id")) == (1, "alert", "beside-preview")
        assert page.locator("#preview").get_attribute("aria-describedby") == "beside-preview"
        assert page.locator("#preview").get_attribute("aria-invalid") is None, "a button is not typed into"
    page.locator("#title").fill("x")
    page.locator("#title").press("Enter")
    page.wait_for_selector("#beside-title")
    field = page.locator("#title")
    assert (field.get_attribute("aria-invalid"), field.get_attribute("aria-describedby")) == ("true", "beside-title")
    field.fill("xy")
    assert (field.get_attribute("aria-invalid"), field.get_attribute("aria-describedby")) == (None, None)
    assert page.locator("#take .beside").count() == 1, "what is typed elsewhere takes nothing away"
    page.evaluate(NOTED, [])
    page.locator("#preview").click()
    page.wait_for_selector("#take .beside", state="detached")


def test_a_server_that_is_gone_is_told_at_the_top_and_found_again(page: Any) -> None:
    page.evaluate(SCROLLED)
    page.evaluate(GONE)
    page.locator("#title-button").click()
    page.wait_for_selector("#refusal .notice")
    assert (text(page, "#refusal"), page.locator(".beside").count()) == (LOST, 0)
    assert ["refusal", "nearest"] in page.evaluate("window.shown"), "it is brought into sight"
    page.evaluate(BACK)
    page.wait_for_selector("#refusal .notice", state="detached")


def test_after_what_changes_the_page_it_is_made_anew_at_once(page: Any, server: Server, tmp_path: Path) -> None:
    """Places, publications and what is pasted change no figure: the script asks for the page itself."""
    page.evaluate(NOTED, [])
    page.evaluate(PAGES_COUNTED)
    server.desk.places = lambda: ([PrivatePlace(47.0003, 12.0021, 123.0)], "")
    for count, button in enumerate(("#preview", "#publish", "#add-place", "#paste-button"), 1):
        if button == "#add-place":
            page.locator("#lat").fill("47.0003")
            page.locator("#lon").fill("12.0021")
        if button == "#paste-button":
            page.locator("#paste summary").click()
            page.locator("#log").fill("2026-05-04 09:00:07")
        page.locator(button).click()
        page.wait_for_function(f"window.made === {count}")
    page.wait_for_selector("#remove-1")
    assert page.locator("#ground").get_attribute("data-places") == "[[47.0003, 12.0021, 123.0]]"
    last = dict(sent(page)[-1][1])
    assert (last["log"], last["zone"]) == ("2026-05-04 09:00:07", "Europe/Vienna"), "with the zone that stands above"
    page.evaluate("() => { window.setTimeout = () => 0; }")  # and it does not wait until it asks again
    page.wait_for_timeout(3 * SHORT_MS)
    for number, act in ((4, lambda: page.locator("#zone-button").click()), (5, lambda: drop(page, tmp_path, "a.gpx"))):
        show(server.desk, number, title=f"Title {number}")
        act()
        page.wait_for_selector(f"h1:has-text('Title {number}')")


# ---- the zone ----
def test_the_computers_zone_stands_where_none_is_kept_and_goes_with_a_start(page: Any, server: Server) -> None:
    assert page.locator("#zone").input_value() == "Europe/Vienna"
    assert page.locator("#zone-said").is_visible()
    assert page.locator("#zones option").count() > 300
    assert page.locator("#zones option[value='Pacific/Auckland']").count() == 1
    show(server.desk, 4, time_zone="Europe/Paris")
    page.wait_for_selector("#zone[data-kept='Europe/Paris']")
    assert (page.locator("#zone").input_value(), page.locator("#zone-said").count()) == ("Europe/Paris", 0)
    page.evaluate(NOTED, [])
    page.locator("#start-3").fill("7:03")
    page.locator("#start-3").press("Enter")
    page.wait_for_function("window.sent.length > 0")
    assert "zone" not in dict(sent(page)[0][1])


# ---- dropping ----
def test_files_are_told_one_by_one_and_can_be_chosen_again(page: Any, tmp_path: Path) -> None:
    page.evaluate(NOTED, [])
    bar = "((by) => [by('sent-words').textContent, by('sent').value, by('sent').max, by('sending').hidden])"
    page.evaluate(SEEN_WHEN_SENT, f"{bar}((id) => document.getElementById(id))")
    drop(page, tmp_path, "a.gpx", "b.gpx", "c.gpx")
    assert page.evaluate("window.seen") == [["1 of 3", 0, 3, False], ["2 of 3", 1, 3, False], ["3 of 3", 2, 3, False]]
    assert (page.locator("#files").input_value(), page.locator("#sending").is_hidden()) == ("", True)
    assert [page.locator(f"#tree{more}").is_visible() for more in ("", " >> xpath=preceding-sibling::label")] == [
        True,
        True,
    ]
    drop(page, tmp_path, "a.gpx")
    page.wait_for_function("window.seen.length === 4")
    assert page.evaluate("window.seen[3]") == ["1 of 1", 0, 1, False]


def test_what_is_dropped_while_others_are_sent_waits_for_them(page: Any, server: Server, tmp_path: Path) -> None:
    """One after the other, told one by one while the next is under way."""
    page.evaluate(NOTED, [])
    page.evaluate("""() => {
      const inner = window.fetch;
      window.held = [];
      window.fetch = (url, told) => (told?.method === "POST"
        ? new Promise((done) => window.held.push(() => done(inner(url, told)))) : inner(url, told));
    }""")
    for name in ("a.gpx", "b.gpx"):
        (tmp_path / name).write_text(name)
        page.set_input_files("#files", tmp_path / name)
        page.wait_for_function("window.held.length === 1")
    page.evaluate("() => { window.setTimeout = () => 0; }")
    page.wait_for_timeout(3 * SHORT_MS)
    assert page.evaluate("window.held.length") == 1
    server.desk.received = [Received("a.gpx", "was stored.")]
    page.evaluate("window.held[0]()")
    page.wait_for_function("window.held.length === 2")
    page.wait_for_selector("#received li")
    assert text(page, "#sent-words") == "2 of 2"
    page.evaluate("window.held[1]()")
    page.wait_for_function("document.getElementById('sending').hidden")
    assert [fields[0][1] for _, fields in sent(page)] == ["a.gpx", "b.gpx"]


def test_the_field_shows_that_it_takes_what_is_held_over_it(page: Any, tmp_path: Path) -> None:
    over = "document.getElementById('drop').classList.contains('over')"
    fire = """(kind) => {
      const event = new Event(kind, { cancelable: true });
      return !dispatchEvent(Object.assign(event, { dataTransfer: { items: [], files: [new File(["x"], "a.gpx")] } }));
    }"""
    page.evaluate(NOTED, [])
    for kind, shown in (("dragenter", True), ("dragleave", False), ("dragover", True), ("drop", False)):
        assert (page.evaluate(fire, kind), page.evaluate(over)) == (True, shown), (
            "a browser would open the file instead"
        )
    page.wait_for_function("window.sent.length === 1")
    assert sent(page)[0][1] == [["path", "a.gpx"], ["files", "a.gpx"]], "a browser that tells of no folders"


def test_a_large_folder_is_read_to_its_end_and_one_too_large_is_refused_whole(page: Any) -> None:
    dropped = """(most) => {
      document.body.dataset.mostFiles = most;
      window.opened = 0;
      const file = (name) => ({ isFile: true, name, file: (done) => { window.opened += 1; done(new File(["x"], name)); } });
      const folder = (name, ...parts) => ({ name, createReader: () => {
        const left = [...parts, []];
        return { readEntries: (done) => done(left.shift()) }; } });
      const dropped = new Event("drop", { cancelable: true });
      const entries = [folder("week", [file("a"), file("b")], [file("c"), file("d"), file("e")])];
      dropped.dataTransfer = { files: [], items: entries.map((entry) => ({ webkitGetAsEntry: () => entry })) };
      dispatchEvent(dropped);
    }"""
    page.evaluate(NOTED, [])
    page.evaluate(dropped, 2)
    page.wait_for_selector("#refusal .notice")
    assert text(page, "#refusal") == "More than 2 files at once; nothing was stored. Put them into the folder instead."
    assert (sent(page), page.evaluate("window.opened")) == ([], 3), "nor are all of a hundred thousand opened first"
    page.evaluate(dropped, 5)
    page.wait_for_function("window.sent.length === 5")
    assert [fields[0][1] for _, fields in sent(page)] == [f"week/{name}" for name in "abcde"]


# ---- what is told ----
def test_what_was_dropped_and_noticed_is_told_line_by_line(page: Any, server: Server) -> None:
    files = [Received(f"{k}.gpx", "was stored.", "left out") for k in range(40)]
    server.desk.received = [*files, Received("b/<c>.gpx", "stored.", "read", "30 fixes", ["It is odd."])]
    page.wait_for_selector("#received .read")
    row = "[document.querySelector('#received .read').innerHTML, document.querySelector('#noticed').innerHTML]"
    assert page.evaluate(row) == [
        '<strong><bdi>b/&lt;c&gt;.gpx</bdi></strong> stored.<span class="seen">30 fixes</span>',
        "<li><bdi>b/&lt;c&gt;.gpx: It is odd.</bdi></li>",
    ]
    assert page.locator("#received .left-out").count() == 40
    assert page.locator("#received .left-out .seen").count() == 0
    below = "(list) => list.scrollHeight - list.scrollTop - list.clientHeight"
    assert page.locator("#received").evaluate(below) < 2, "the last line is seen"
    server.desk.received = [*files, Received("d.gpx", "stored.", "read", "9 fixes", ["It is odd too."])]
    page.wait_for_selector("#received .read:has-text('d.gpx')")
    assert page.evaluate(row)[1] == "<li><bdi>d.gpx: It is odd too.</bdi></li>", "what was noticed before is gone"
    assert page.locator("#received > *").count() == 41


def pause(page: Any) -> int:
    """How long it waits, in ms, before it asks again how far things are."""
    page.evaluate("() => { window.pauses.length = 0; }")
    page.wait_for_function("window.pauses.length > 3")
    return int(page.evaluate("window.pauses.at(-1)"))


def test_how_far_it_is_and_that_it_may_take_an_unknown_time(page: Any, server: Server) -> None:
    """It asks rarely at rest, often while something is done, and now and then while a file is being read."""
    assert pause(page) == 2000
    assert page.locator("#work").is_hidden()
    server.told = {"what": "reading", "done": 3, "of": 7, "waiting": 2}
    page.wait_for_selector("#work-words:text-is('reading, 3 of 7; 2 more waiting')")
    bar = "(() => { const bar = document.getElementById('work-bar'); return [bar.value, bar.max, bar.position]; })()"
    assert page.evaluate(bar)[:2] == [3, 7]
    assert page.locator("#cancel").is_visible()
    assert pause(page) == 80
    server.told = {"what": "drawing", "of": 0}
    page.wait_for_selector("#work-words:text-is('drawing')")
    assert page.evaluate(bar)[2] == -1, "of an unknown length"
    server.told, server.desk.received = {}, [Received("a.gpx", "was stored.", "being read")]
    page.wait_for_selector("#work", state="hidden")
    assert pause(page) == 300


def test_a_publication_or_a_problem_is_told_without_new_figures(page: Any, server: Server) -> None:
    frame = "document.getElementById('map-page')"
    page.evaluate(f"() => {{ window.kept = {frame}; }}")
    server.desk.published = ("a warning",)
    page.wait_for_selector("#published")
    server.desk.problem = "no rides"
    page.wait_for_selector("#problem .notice")
    assert page.evaluate(f"window.kept === {frame}"), "the map stays as it was moved"
    show(server.desk, 4, title="Another title")
    page.wait_for_selector("#map-page[src$='n=4']")
    assert page.title() == "Another title – gpsq"
    assert (page.locator("#map-page").get_attribute("name"), page.locator("#map-page").get_attribute("title")) == (
        "map", "Map of the recordings",
    )  # fmt: skip


def test_what_did_not_change_stays_the_same_and_what_is_new_can_be_copied(page: Any, server: Server) -> None:
    page.evaluate("() => { window.kept = document.querySelector('#private form'); }")
    page.locator("#paste summary").click()
    page.locator("#log").fill("2026-05-04 09:0")
    show(server.desk, 4, title="Another title")
    page.wait_for_selector("h1:has-text('Another title')")
    assert page.evaluate("window.kept === document.querySelector('#private form')")
    assert page.locator("#paste").get_attribute("open") is not None
    assert page.locator("#log").input_value() == "2026-05-04 09:0"
    assert page.locator("#fix [data-finding] .copy").count() == 5
    assert page.locator("#fix .copies button").count() == 6
    assert page.locator("#places .scripted").is_visible()
