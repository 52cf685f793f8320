"""What the desk keeps, asks for and refuses: nothing is computed, every job is noted and answered by hand."""

from __future__ import annotations

import io
import os
from types import SimpleNamespace

import pytest
from hand_desk import Noted, hand_desk

from gpsq.campaign import flags, leftovers
from gpsq.campaign.device_names import UNKNOWN_DEVICE
from gpsq.exceptions import CampaignError, InputError, OutputError
from gpsq.web import campaign_edits, page_data, pages, pasted_log, session, start_edits, typed_starts
from gpsq.web.received import Received
from gpsq.web.session import Desk

ANALYSE = "analyse"


@pytest.fixture
def desk(tmp_path, monkeypatch):
    return hand_desk(tmp_path, monkeypatch)


@pytest.fixture
def bare(tmp_path, monkeypatch):
    """A desk without results."""
    monkeypatch.setattr(session, "Line", Noted)
    return Desk(tmp_path)


def analyse_job(desk):
    return (ANALYSE, str(desk.folder), True)


# ---- files ----
def test_it_begins_with_what_lies_in_the_folder(bare, monkeypatch):
    swept = []
    monkeypatch.setattr(leftovers, "sweep", swept.append)
    (bare.folder / "a.gpx").write_text("x")
    bare.open()
    assert swept == [bare.folder]
    assert bare.analyst.jobs == [("wake", False), analyse_job(bare)]
    bare.refresh()
    assert len(bare.analyst.jobs) == 2, "nothing changed since"
    bare.close()
    assert (bare.analyst.is_closed, bare.reader.is_closed) == (True, True)


def test_an_empty_folder_asks_for_nothing_until_there_was_something(bare, desk):
    bare.refresh()
    assert bare.analyst.jobs == []
    desk._seen_files = frozenset({("gone.gpx", 1, 1)})
    desk.refresh()
    assert desk.analyst.jobs == [analyse_job(desk)], "what is gone must go from the page too"


def test_a_size_or_a_time_tells_a_change_and_what_gpsq_wrote_does_not(bare):
    file = bare.folder / "deep" / "a.gpx"
    file.parent.mkdir()
    file.write_text("x")
    os.utime(file, ns=(0, 1000))
    first = session._files(bare.folder)
    assert first == {(str(file), 1, 1000)}
    for unseen in (".hidden", ".git/a", "gpsq-results/a", "gpsq-published/a", "deep/.b"):
        (bare.folder / unseen).parent.mkdir(exist_ok=True)
        (bare.folder / unseen).write_text("x")
    assert session._files(bare.folder) == first
    os.utime(file, ns=(0, 1001))
    assert session._files(bare.folder) == {(str(file), 1, 1001)}
    file.write_text("xy")
    os.utime(file, ns=(0, 1000))
    assert session._files(bare.folder) == {(str(file), 2, 1000)}


def drop(desk, name, content=b"<gpx/>"):
    return desk.receive(name, io.BytesIO(content))


def test_a_dropped_file_is_looked_into_once_and_told(bare):
    line = drop(bare, "Amber/a.gpx")
    assert (line.given, line.outcome) == ("Amber/a.gpx", "being read")
    assert bare.reader.jobs == [("read", str(bare.folder), "Amber/a.gpx", False)]
    again = drop(bare, "b.gpx")
    assert again.outcome == "known"
    left = drop(bare, "a.png")
    assert left.outcome == "left out"
    beside = drop(bare, "rides.csv", b"file,started\n")
    assert beside.outcome == "new"
    assert len(bare.reader.jobs) == 1
    assert bare.received == [line, again, left, beside]
    bare.reader.answers[0].set_result([{"outcome": "ok", "message": "30 fixes", "notes": ["odd"]}])
    assert (line.outcome, line.seen, line.notes) == ("read", "30 fixes", ["odd"])
    other = drop(bare, "c.gpx", b"<gpx> </gpx>")
    bare.reader.answers[1].set_exception(InputError("c.gpx", "nothing", "something"))
    assert (other.outcome, other.seen) == ("unread", "c.gpx: found nothing; expected something")


def test_the_last_lines_are_kept(bare, monkeypatch):
    monkeypatch.setattr(session, "MOST_LINES", 2)
    lines = [drop(bare, f"{k}.gpx", b"<gpx/>" + b" " * k) for k in range(3)]
    assert bare.received == lines[1:]


def test_five_hundred_lines_are_still_shown(bare):
    """A year of daily rides of one device, dropped at once, is told to its first line."""
    bare.received = [Received(f"{k}.gpx", "stored.") for k in range(499)]
    drop(bare, "a.gpx", b"<gpx/>")
    assert (len(bare.received), bare.received[0].given) == (500, "0.gpx")
    drop(bare, "b.gpx", b"<gpx> </gpx>")
    assert (len(bare.received), bare.received[0].given) == (500, "1.gpx")


# ---- what was found ----
def found(number):
    return SimpleNamespace(number=number)


def test_figures_are_set_against_the_last_that_were_others_and_the_first(bare, monkeypatch):
    figures = {1: {"f": "1"}, 2: {"f": "2"}, 3: {"f": "2"}, 4: {"f": "4"}}
    shown = []
    monkeypatch.setattr(page_data, "figures", lambda analysis: figures[analysis.number])
    monkeypatch.setattr(
        page_data, "of_analysis",
        lambda analysis, before, first, unmoved: shown.append((before, first, unmoved)) or {"n": analysis.number},
    )  # fmt: skip
    for number in (1, 2, 3, 4):
        bare.preview, bare.problem = ("old",), "old"
        bare.analyse()
        bare.analyst.answers[-1].set_result((found(number), f"map {number}"))
        assert (bare.problem, bare.preview) == ("", ())
        assert (bare.results.number, bare.results.map_page) == (number, f"map {number}")
        assert bare.results.shown == {"n": number}
        assert bare.analysis is bare.results.analysis
    one = {"f": "1"}
    assert shown == [({}, one, False), (one, one, False), (one, one, True), ({"f": "2"}, one, False)]


def test_a_run_that_two_asked_for_is_one_and_a_failed_one_leaves_the_results(desk, monkeypatch):
    before = desk.results
    desk.analyse()
    desk.analyst.answers[0].set_result((desk.analysis, "the same"))
    assert desk.results is before
    desk.analyse()
    desk.analyst.answers[1].set_exception(InputError("week", "nothing", "rides"))
    assert desk.results is before
    assert desk.problem == "week: found nothing; expected rides"


# ---- what a person writes ----
def test_a_decision_is_on_the_disk_before_it_is_analysed(desk):
    desk.flag(["E77", "d0a"], "intentional", "bridge")
    kept, _ = flags.load(desk.folder)
    assert [(f.sha256[:2], f.track, f.flag, f.note) for f in kept] == [
        ("a1", 1, "intentional", "bridge"), ("b2", 2, "intentional", "bridge"),
    ]  # fmt: skip
    assert desk.analyst.jobs == [analyse_job(desk)]
    with pytest.raises(InputError, match="decision: found maybe; expected intentional, error or clear"):
        desk.flag(["E77"], "maybe", "")
    assert len(desk.analyst.jobs) == 1


@pytest.fixture
def starts(monkeypatch):
    """What is written into the start log; without a zone no time can be read."""
    written = []

    def read(typed, tracks, zone, settings):
        if not zone:
            raise CampaignError("start", typed, "a zone")
        return f"{typed} of {[t.file for t in tracks]} in {zone}"

    monkeypatch.setattr(typed_starts, "read", read)
    names = {"amber/mon.gpx": "Amber", "amber/thu.gpx": f"{UNKNOWN_DEVICE} 1"}
    monkeypatch.setattr(campaign_edits, "found_names", lambda folder, traces, unreadable: names)
    monkeypatch.setattr(
        start_edits, "set_starts", lambda folder, rows, recordings: written.append((rows, len(recordings)))
    )
    return written


def campaign(desk):
    path = desk.folder / "campaign.toml"
    return path.read_text() if path.exists() else ""


def test_a_start_is_written_with_its_device_and_the_zone_it_was_meant_in(desk, starts):
    desk.set_start("amber/mon.gpx", "7:00", "Europe/Paris")
    row = {"file": "amber/mon.gpx", "device": "Amber", "started": "7:00 of ['amber/mon.gpx'] in Europe/Paris"}
    assert starts == [([row], 5)], "four recordings and one that cannot be read"
    assert campaign(desk).strip() == 'time_zone = "Europe/Paris"'
    desk.set_start("amber/thu.gpx", "8:00", "Asia/Tokyo")
    row = {"file": "amber/thu.gpx", "device": "", "started": "8:00 of [] in Europe/Paris"}
    assert starts[1] == ([row], 5), "the zone that is kept stands above the page's"
    desk.set_start("amber/mon.gpx", " ", "")
    assert starts[2][0][0]["started"] == ""
    assert desk.analyst.jobs == [analyse_job(desk)] * 3
    with pytest.raises(InputError, match=r"recording: found no\.gpx; expected one that the page shows now"):
        desk.set_start("no.gpx", "7:00")


def test_without_any_zone_or_with_one_that_is_none_no_start_is_kept(desk, starts):
    with pytest.raises(CampaignError, match="expected a zone"):
        desk.set_start("amber/mon.gpx", "7:00")
    with pytest.raises(CampaignError, match="Mars"):
        desk.set_start("amber/mon.gpx", "7:00", "Mars/Base")
    assert (starts, campaign(desk), desk.analyst.jobs) == ([], "", [])


def test_a_start_that_cannot_be_read_in_the_zone_that_is_known_is_not_tried_in_another(desk, monkeypatch):
    asked = []

    def read(typed, tracks, zone, settings):
        asked.append(zone)
        raise CampaignError("start", typed, "another")

    monkeypatch.setattr(typed_starts, "read", read)
    campaign_edits.describe(desk.folder, "time_zone", "Europe/Rome")
    with pytest.raises(CampaignError):
        desk.set_start("amber/mon.gpx", "7:00", "Europe/Paris")
    assert asked == ["Europe/Rome"]


def test_a_pasted_log_is_kept_when_it_is_asked_for_with_its_zone(desk, starts, monkeypatch):
    seen, rows = [], ({"file": "amber/mon.gpx", "started": "x"},)

    def look(*given):
        seen.append(given)
        return pasted_log.Pasted("text", (), rows, (), given[-1])

    monkeypatch.setattr(pasted_log, "look", look)
    with pytest.raises(InputError, match="start log: found no line that fits a recording; expected one line or more"):
        desk.keep_log()
    with pytest.raises(CampaignError, match="Mars"):
        desk.look_at_log("text", "Mars/Base")
    desk.look_at_log("text", "Europe/Paris")
    assert seen[0][:3] == ("text", desk.analysis.traces, desk.analysis.unreadable)
    assert (starts, campaign(desk), desk.analyst.jobs) == ([], "", [])
    desk.keep_log()
    assert starts == [(rows, 5)]
    assert campaign(desk).strip() == 'time_zone = "Europe/Paris"'
    assert desk.pasted == pasted_log.Pasted()
    assert desk.analyst.jobs == [analyse_job(desk)]
    desk.look_at_log("text")
    desk.keep_log()
    assert campaign(desk).strip() == 'time_zone = "Europe/Paris"'


def test_names_of_ways_and_devices_are_those_that_the_page_shows(desk, monkeypatch):
    given = []
    monkeypatch.setattr(campaign_edits, "name_way", lambda *how: given.append(how))
    monkeypatch.setattr(campaign_edits, "rename_device", lambda *how: given.append(how))
    desk.name_way("out", "there")
    desk.rename("Amber", "Ann")
    desk.describe("title", "A week")
    assert given == [
        (desk.folder, "out", "there", desk.analysis),
        (desk.folder, "Amber", "Ann", desk.analysis.traces, desk.analysis.unreadable),
    ]
    assert campaign(desk).strip() == 'title = "A week"'
    assert desk.analyst.jobs == [analyse_job(desk)] * 3
    with pytest.raises(InputError, match="way: found north; expected one that the page shows now"):
        desk.name_way("north", "there")
    with pytest.raises(InputError, match="device: found Carbon; expected one that the page shows now"):
        desk.rename("Carbon", "Ann")


# ---- what there is ----
def test_a_desk_on_which_nothing_happened_has_nothing_to_tell(bare):
    told = pages.status(bare)
    assert told["problem"] == told["what"] == ""
    assert (told["number"], told["published"], told["received"], told["noticed"]) == (0, False, [], [])


def test_without_results_or_folder_one_sentence(bare, tmp_path_factory):
    with pytest.raises(OutputError, match="There are no results yet"):
        _ = bare.analysis
    gone = hand_gone(bare)
    said = f"{gone}: the folder is no longer there; move it back, or start gpsq serve anew."
    asks = [
        bare.check_folder, bare.publish, bare.look_at_cuts, bare.keep_log, lambda: bare.look_at_log(""),
        lambda: bare.flag([], "error", ""), lambda: bare.set_start("a", "b"), lambda: bare.name_way("a", "b"),
        lambda: bare.describe("title", "b"), lambda: bare.rename("a", "b"), lambda: drop(bare, "a.gpx"),
    ]  # fmt: skip
    for ask in asks:
        with pytest.raises(OutputError) as refused:
            ask()
        assert str(refused.value) == said


def hand_gone(desk):
    desk.folder = desk.folder / "gone"
    return desk.folder


def test_private_places_or_why_they_cannot_be_read(desk):
    assert desk.places() == ([], "")
    campaign_edits.add_place(desk.folder, 51.5, -3.5, 300.0)
    ((place,), why) = desk.places()
    assert ((place.lat_deg, place.lon_deg, place.radius_m), why) == ((51.5, -3.5, 300.0), "")
    (desk.folder / "campaign.toml").write_text("?")
    places, why = desk.places()
    assert places == []
    assert why.startswith("campaign.toml: found ")


def test_the_next_desk_has_another_token_and_a_whole_path(tmp_path, monkeypatch):
    monkeypatch.setattr(session, "Line", Noted)
    monkeypatch.chdir(tmp_path)
    one, other = Desk(tmp_path.relative_to(tmp_path)), Desk(tmp_path)
    assert one.folder == tmp_path
    assert one.token != other.token
    assert len(one.token) == 43, "32 bytes in base 64 (RFC 4648): 256 bits"


def test_results_are_written_once_a_run(desk):
    results = str(desk.folder / "gpsq-results")
    first = desk.write()
    assert desk.write() is first
    assert desk.analyst.jobs == [("write", str(desk.folder), results, True)]
    first.set_result(None)
    (desk.folder / "gpsq-results").mkdir()
    assert desk.write().result() is None
    assert len(desk.analyst.jobs) == 1
    desk.results = session.Results(4, desk.analysis, "", {})
    assert desk.write() is desk.analyst.answers[1]


def test_what_is_published_or_would_be_is_told_when_it_is_done(desk):
    desk.publish()
    desk.look_at_cuts()
    assert desk.analyst.jobs == [
        ("publish", str(desk.folder), str(desk.folder / "gpsq-published"), True), ("preview", str(desk.folder), True),
    ]  # fmt: skip
    assert (desk.published, desk.preview) == (None, ())
    for answer, lines in zip(desk.analyst.answers, (["shown"], ["cut"]), strict=True):
        answer.set_result(lines)
    assert (desk.published, desk.preview) == (("shown",), ("cut",))
    desk.publish().set_exception(OutputError("full"))
    desk.look_at_cuts().set_exception(OutputError("full"))
    assert (desk.published, desk.preview) == (("shown",), ("cut",))
    desk.cancel()
    assert desk.analyst.cancelled == 1
