"""Each address: which words of a form reach the desk, how it is answered to the page and to its script, and what is handed out."""

from __future__ import annotations

import asyncio
import io
import threading
import zipfile
from concurrent.futures import Future
from types import SimpleNamespace

import pytest
from web_session import PORT, Client

from gpsq.exceptions import InputError, OutputError
from gpsq.web import app, campaign_edits, guard, pages

LONG = "x" * 1200
PLAIN = {"accept": "text/html"}


class Heard:
    """In place of a desk: it notes what is asked, and answers at once, or refuses."""

    def __init__(self, folder):
        self.folder, self.token, self.calls = folder, "token", []
        self.results = self.published = self.refusal = None
        self.answer = Future()
        self.answer.set_result(None)

    def __getattr__(self, name):
        def asked(*given):
            self.calls.append((name, *given))
            if self.refusal and name != "refresh":
                raise self.refusal
            return SimpleNamespace(said=f"{given[0]} was stored.") if name == "receive" else self.answer

        return asked


@pytest.fixture
def desk(tmp_path, monkeypatch):
    monkeypatch.setattr(
        pages, "page", lambda desk, refusal="", about=pages.NOTHING: f"page|{refusal}|{about.key}|{about.typed}"
    )
    return Heard(tmp_path)


@pytest.fixture
def client(desk):
    return Client(desk)


FORMS = [
    ("flag", {"id": ["a", "b"], "decision": "error", "note": LONG}, [("flag", ["a", "b"], "error", LONG[:1000])], "/#d-a"),
    ("start", {"file": LONG, "started": LONG, "zone": LONG}, [("set_start", LONG, LONG[:100], LONG[:100])], "/#starts"),
    ("device", {"old": "A", "new": LONG}, [("rename", "A", LONG[:100])], "/#devices"),
    ("title", {"title": LONG}, [("describe", "title", LONG[:100])], "/#devices"),
    ("zone", {"zone": LONG}, [("describe", "time_zone", LONG[:100])], "/#starts"),
    ("way", {"route": "A", "way": LONG}, [("name_way", "A", LONG[:100])], "/#devices"),
    ("paste", {"log": LONG, "zone": LONG}, [("look_at_log", LONG, LONG[:100])], "/#paste"),
    ("keep", {"x": ""}, [("keep_log",)], "/#starts"),
    ("analyse", {"x": ""}, [("check_folder",), ("analyse",)], "/"),
    ("cancel", {"x": ""}, [("cancel",)], "/"),
    ("publish", {"x": ""}, [("publish",)], "/#take"),
    ("preview", {"x": ""}, [("look_at_cuts",)], "/#take"),
    ("place", {"lat": "1", "lon": "2", "radius_m": "3"}, [("check_folder",), ("add", 1.0, 2.0, 3.0)], "/#places"),
    ("place", {"lat": "1", "lon": "2", "radius_m": "3", "remove": "1"}, [("check_folder",), ("take", 1.0, 2.0, 3.0)], "/#places"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "data", "calls", "place"), FORMS)
def test_what_a_form_says_reaches_the_desk(client, desk, monkeypatch, name, data, calls, place):
    monkeypatch.setattr(campaign_edits, "add_place", lambda folder, *where: desk.calls.append(("add", *where)))
    monkeypatch.setattr(campaign_edits, "remove_place", lambda folder, *where: desk.calls.append(("take", *where)))
    answer = client.post(f"/{name}", data=data)
    assert (answer.status_code, answer.json(), desk.calls) == (200, {"ok": True}, calls)
    desk.calls.clear()
    answer = client.post(f"/{name}", data=data, headers=PLAIN)
    assert (answer.status_code, answer.headers["location"], desk.calls) == (303, place, calls)
    assert name in {known for known, *_ in FORMS} == set(app._FORMS)


def test_a_form_without_its_words_or_with_a_wrong_number_says_so_little(client, desk, monkeypatch):
    where = []
    monkeypatch.setattr(campaign_edits, "add_place", lambda folder, *given: where.extend(given))
    client.post("/place", data={"lat": "north", "lon": "2"})
    assert [str(value) for value in where] == ["nan", "2.0", "nan"]
    client.post("/title", data={"x": ""})
    assert desk.calls[-1] == ("describe", "title", "")


@pytest.mark.parametrize(
    ("headers", "data", "status"),
    [
        ({"x-gpsq-token": None}, {"title": "t", "token": "token"}, 303),
        ({"x-gpsq-token": None}, {"title": "t"}, 403),
        ({"x-gpsq-token": "other"}, {"title": "t", "token": "token"}, 403),
    ],
)
def test_nothing_is_done_without_the_token(client, desk, headers, data, status):
    answer = client.post("/title", data=data, headers=headers | PLAIN)
    assert answer.status_code == status
    assert bool(desk.calls) == (status == 303)
    if status == 403:
        assert answer.text == "page|The page is older than the server: load it again, then repeat this.||"


REFUSALS = [
    (InputError("a", "b", "c"), 400, "a: found b; expected c"),
    (OutputError("no room"), 409, "no room"),
    (OSError(28, "No space left", "week/a.gpx"), 409, "week/a.gpx: No space left"),
    (OSError("odd"), 409, "The folder: odd"),
]


@pytest.mark.parametrize(("refusal", "status", "said"), REFUSALS)
def test_a_refusal_is_one_line_beside_its_field_with_what_was_typed(client, desk, refusal, status, said):
    desk.refusal = refusal
    answer = client.post("/start", data={"file": "a.gpx", "started": "7:00", "zone": "Z"})
    assert (answer.status_code, answer.json()) == (status, {"problem": said})
    for data, key, typed in (
        ({"file": "a.gpx", "started": "7:00", "zone": "Z"}, "start a.gpx", "7:00"),
        ({"zone": "Z"}, "start ", "Z"),
    ):
        answer = client.post("/start", data=data, headers=PLAIN)
        assert (answer.status_code, answer.text) == (status, f"page|{said}|{key}|{typed}")
    for name, data, key, typed in (
        ("device", {"old": "A", "new": "B"}, "device A", "B"),
        ("way", {"route": "R", "way": "W"}, "way R", "W"),
        ("title", {"title": "T"}, "title ", "T"),
    ):
        assert client.post(f"/{name}", data=data, headers=PLAIN).text == f"page|{said}|{key}|{typed}"


def test_the_page_looks_for_changes_first_and_its_script_asks_how_far_things_are(client, desk, monkeypatch):
    answer = client.get("/")
    assert (answer.text, desk.calls) == ("page|||", [("refresh",)])
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    monkeypatch.setattr(pages, "status", lambda desk: {"number": 7})
    assert client.get("/status").json() == {"number": 7}


def test_a_form_without_script_waits_a_while_and_no_longer(client, desk, monkeypatch):
    monkeypatch.setattr(app, "WAIT_S", 0.02)
    desk.answer = Future()
    assert client.post("/title", data={"title": "t"}, headers=PLAIN).status_code == 303
    assert not desk.answer.cancelled(), "the job goes on"
    desk.answer.set_exception(InputError("a", "b", "c"))
    assert client.post("/title", data={"title": "t"}, headers=PLAIN).status_code == 303, (
        "the page tells what came of it"
    )


def test_what_comes_within_a_moment_is_waited_for(client, desk):
    """The page that is shown then has it already; a person would not wait for more than a few seconds."""
    desk.answer = Future()
    threading.Timer(0.05, desk.answer.set_result, [None]).start()
    assert client.post("/title", data={"title": "t"}, headers=PLAIN).status_code == 303
    assert desk.answer.done()
    assert 2.0 <= app.WAIT_S <= 10.0


def test_only_a_form_without_script_is_waited_for(client, desk, monkeypatch):
    waited = []

    async def settled(answer):
        waited.append(answer)

    monkeypatch.setattr(app, "_settled", settled)
    for headers in ({}, PLAIN):
        client.post("/title", data={"title": "t"}, headers=headers)
        client.post(guard.DROP, files=files(b"one"), headers=headers)
        client.post("/cancel", data={"x": ""}, headers=headers)
        assert waited == [desk.answer] * (2 if headers else 0)


def test_it_is_opened_with_the_server_and_closed_with_it(desk):
    async def served():
        made = app.make_app(desk, PORT)
        async with made.router.lifespan_context(made):
            assert desk.calls == [("open",)]

    asyncio.run(served())
    assert desk.calls == [("open",), ("close",)]


# ---- drops ----
def contents(desk):
    """Names and bytes that were received; a file can be read while the drop is answered only."""
    return [(call[1], call[2]) for call in desk.calls if call[0] == "receive"]


@pytest.fixture
def reading(desk):
    """A desk that reads what it is given, as a desk does."""
    receive = desk.receive
    desk.receive = lambda given, content: receive(given, content.read())
    return desk


def files(*bodies):
    return [("files", (f"{k}.gpx", body)) for k, body in enumerate(bodies, start=1)]


def test_each_file_of_a_drop_is_received_with_its_own_bytes(client, reading):
    bodies = (b"one", b"", b"three" * 50_000, b"4")
    in_parts = files(*(io.BytesIO(body) for body in bodies))  # of 64 kB
    answer = client.post(guard.DROP, data={"path": "x/y.gpx"}, files=in_parts)
    assert answer.json() == {"received": [f"{k}.gpx was stored." for k in (1, 2, 3, 4)]}
    assert contents(reading) == [(f"{k}.gpx", body) for k, body in enumerate(bodies, start=1)]
    assert (reading.calls[0], reading.calls[-1]) == (("check_folder",), ("analyse",))


def test_one_file_keeps_its_path_and_more_that_are_announced_are_waited_for(client, reading):
    client.post(guard.DROP, data={"path": "Amber/y.gpx", "more": "1"}, files=files(b"one"))
    assert contents(reading) == [("Amber/y.gpx", b"one")]
    assert ("analyse",) not in reading.calls
    answer = client.post(guard.DROP, files=files(b"one"), headers=PLAIN)
    assert (answer.status_code, answer.headers["location"]) == (303, "/#add")
    assert contents(reading)[1:] == [("1.gpx", b"one")]
    assert reading.calls[-1] == ("analyse",)


def test_a_drop_of_nothing_asks_for_nothing(client, reading):
    assert client.post(guard.DROP, data={"x": ""}).json() == {"received": []}
    assert client.post(guard.DROP, data={"x": "1"}, files=[("files", ("", b""))]).json() == {"received": []}
    answer = client.post(guard.DROP, data={"x": ""}, headers=PLAIN)
    assert (answer.status_code, answer.headers["location"]) == (303, "/#add")
    assert [call for call in reading.calls if call[0] != "check_folder"] == []


@pytest.mark.parametrize("how", [{"data": {"x": ""}}, {"files": files(b"one")}])
def test_no_drop_is_taken_in_without_the_token(client, reading, how):
    answer = client.post(guard.DROP, headers={"x-gpsq-token": "other"}, **how)
    assert answer.status_code == 403
    assert contents(reading) == []


def test_a_token_before_the_first_file_will_do_and_one_behind_it_will_not(client, reading):
    first = [("token", (None, "token")), *files(b"one")]
    assert client.post(guard.DROP, files=first, headers={"x-gpsq-token": None}).status_code == 200
    assert client.post(guard.DROP, files=first[::-1], headers={"x-gpsq-token": None}).status_code == 403
    assert contents(reading) == [("1.gpx", b"one")]


def test_a_body_that_is_no_form_is_refused(client, reading):
    broken = client.post(guard.DROP, content=b"?", headers={"content-type": "multipart/form-data"})
    assert broken.status_code == 400
    assert "boundary" in broken.json()["problem"]


def test_there_may_be_so_many_files_in_a_drop_and_no_more(client, reading, monkeypatch):
    monkeypatch.setattr(app, "MOST_FILES", 2)
    assert client.post(guard.DROP, files=files(b"1", b"2")).status_code == 200
    assert client.post(guard.DROP, files=files(b"1", b"2", b"3")).status_code == 400


# ---- what is handed out ----
@pytest.fixture
def written(desk, monkeypatch):
    """Results: four files, one of them a link that leads away, one that is gone, and one that nobody wrote."""
    folder = desk.folder / "gpsq-results"
    (folder / "figures").mkdir(parents=True)
    for name in ("report.html", "map.html", "tracks.csv", "figures/a.svg", "figures/a.png", "foreign.csv"):
        (folder / name).write_text(name)
    (desk.folder / "away").write_text("away")
    (folder / "link.csv").symlink_to(desk.folder / "away")
    names = {"report.html", "map.html", "tracks.csv", "figures/a.svg", "figures/a.png", "link.csv", "gone.csv"}
    monkeypatch.setattr(app, "written_names", lambda where: names if where.name.startswith("gpsq-") else None)
    monkeypatch.setattr(app, "following", lambda text: f"following {text}")
    return folder


@pytest.mark.parametrize(
    ("name", "kind", "policy", "kept"),
    [
        ("report.html", "text/html; charset=utf-8", guard.POLICY_OF_PAGES, False),
        ("map.html", "text/html; charset=utf-8", guard.POLICY_OF_MAP, False),
        ("figures/a.svg", "image/svg+xml", guard.POLICY_OF_RESULTS, False),
        ("figures/a.png", "image/png", guard.POLICY_OF_RESULTS, False),
        ("tracks.csv", "application/octet-stream", guard.POLICY_OF_RESULTS, True),
    ],
)
def test_a_file_is_shown_or_kept_in_a_place_without_rights(client, desk, written, name, kind, policy, kept):
    answer = client.get(f"/gpsq-results/{name}")
    assert (answer.text, answer.headers["content-type"]) == (name, kind)
    assert answer.headers["content-security-policy"] == policy
    assert answer.headers.get("content-disposition") == ("attachment" if kept else None)
    assert desk.calls == [("write",)]


@pytest.mark.parametrize(
    "name", ["foreign.csv", "link.csv", "gone.csv", "figures", "%2e%2e/away", "figures/../tracks.csv"]
)
def test_what_gpsq_did_not_write_is_not_handed_out(client, written, name):
    assert client.get(f"/gpsq-results/{name}").status_code in ({404} if ".." not in name else {200, 404})
    assert client.get("/gpsq-results/foreign.csv").json() == {"problem": "There is no such file among the results."}


def test_the_map_of_the_page_stands_in_its_frame_and_a_picture_follows_its_look(client, desk, written):
    assert client.get("/gpsq-results/figures/a.svg?as=page").text == "following figures/a.svg"
    assert client.get("/gpsq-results/figures/a.png?as=page").text == "figures/a.png"
    desk.calls.clear()
    desk.results = SimpleNamespace(map_page='<a href="report.html">r</a> <a href="report.html">')
    assert client.get("/gpsq-results/map.html").text == (
        '<a href="report.html" target="_top">r</a> <a href="report.html">'
    )
    assert desk.calls == [], "nothing need be written for it"
    assert client.get("/gpsq-results/report.html").text == "report.html"


def members(answer):
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


ALL = {name: name for name in ("figures/a.png", "figures/a.svg", "map.html", "report.html", "tracks.csv")}


def test_all_that_gpsq_wrote_is_one_archive(client, desk, written):
    answer = client.get("/everything.zip")
    assert members(answer) == ALL
    assert list(members(answer)) == sorted(ALL)
    assert answer.headers["content-disposition"] == "attachment"
    assert desk.calls == [("write",)]


def test_what_was_published_is_handed_out_once_it_was_made_here(client, desk, written):
    written.rename(desk.folder / "gpsq-published")
    answer = client.get("/published/tracks.csv")
    assert answer.status_code == 404
    assert answer.json() == {"problem": "Nothing was made fit to publish since the page was opened."}
    desk.published = ()
    assert client.get("/published/tracks.csv").text == "tracks.csv"
    assert members(client.get("/published/everything.zip")) == ALL
    assert client.get("/published/foreign.csv").status_code == 404


KINDS = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "leaflet.css": "text/css",
    "leaflet.js": "text/javascript",
}


def test_the_pages_own_files_have_their_kinds(client):
    for name, kind in KINDS.items():
        answer = client.get(f"/static/{name}")
        assert (answer.status_code, answer.headers["content-type"].split(";")[0]) == (200, kind)
    answer = client.get("/static/app.py")
    assert (answer.status_code, answer.json()) == (404, {"problem": "There is no such file."})
