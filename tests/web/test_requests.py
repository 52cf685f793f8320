"""What the page answers: to itself, to strangers, to too much, and to text that would like to be markup."""

from __future__ import annotations

import asyncio
import dataclasses
import io
import os
import random
import re
import resource
import shutil
import socket
import zipfile
from concurrent.futures import Future
from html.parser import HTMLParser
from pathlib import Path

import pytest
from output_sample import HOSTILE, sample
from web_session import DEMO, Client, StillDesk, demo_results, desk_with_results

from gpsq.campaign import campaign_file, flags, start_log
from gpsq.output.map.page import map_page
from gpsq.output.results_folder import write_results
from gpsq.pipeline.publish import preview
from gpsq.privacy import secret
from gpsq.web import app, dropped_files, guard, incoming, page_data
from gpsq.web.session import Results

LONG = bool(os.environ.get("GPSQ_LONG"))
FUZZ = 5_000 if LONG else 300
#: Whatever changes anything; what is added to the page is among them.
CHANGING = [guard.DROP, *(f"/{name}" for name in app._FORMS)]


@pytest.fixture
def desk(tmp_path):
    return desk_with_results(tmp_path)


@pytest.fixture
def client(desk):
    return Client(desk)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The results of the demo, written once."""
    out = tmp_path_factory.mktemp("written") / "gpsq-results"
    write_results(demo_results()[0], out)
    return out


@pytest.fixture
def results(desk, written):
    """The folder of the demo's results on the desk, as if the desk had written it."""
    desk._written = desk.results.number
    return shutil.copytree(written, desk.folder / "gpsq-results")


def first(desk):
    return desk.results.analysis.deviations[0]


# ---- who may speak ----
@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:4780", "127.0.0.1:1", "127.0.0.1", "", "127.0.0.1:4780.evil.example"]
)
def test_a_foreign_host_is_refused(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1:4780", "localhost:4780", "LOCALHOST:4780"])
def test_this_computer_is_answered(client, host):
    assert client.get("/status", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "https://127.0.0.1:4780",
        "http://127.0.0.1:1",
        "http://127.0.0.1:4780.evil.example",
        "",
        "http://[",
    ],
)
@pytest.mark.parametrize("path", CHANGING)
def test_a_foreign_origin_is_refused(client, desk, path, origin):
    answer = client.post(path, data={"id": first(desk).id, "decision": "error"}, headers={"origin": origin})
    assert answer.status_code == 403
    assert not (desk.folder / flags.FILE_NAME).exists()


def test_a_request_that_does_not_say_where_it_comes_from_is_refused(client):
    assert client.post("/analyse", headers={"origin": None}).status_code == 403
    assert client.post("/analyse", headers={"origin": None, "sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/everything.zip", "/gpsq-results/report.html", "/status"])
def test_another_site_may_link_here_but_not_reach_in(client, path):
    assert client.get(path, headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_an_own_origin_does_not_help_where_the_browser_says_another_site_asked(client, site):
    assert client.post("/analyse", headers={"sec-fetch-site": site}).status_code == 403
    assert client.post("/analyse", headers={"sec-fetch-site": "same-origin"}).status_code == 200


def test_a_link_from_elsewhere_may_be_followed(client):
    assert client.get("/", headers={"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}).status_code == 200


@pytest.mark.parametrize("token", [None, "", "wrong", "ü"])
@pytest.mark.parametrize("path", CHANGING)
def test_a_wrong_token_is_refused(client, desk, path, token):
    headers = {"x-gpsq-token": token if str(token).isascii() else None}  # headers are ASCII; the form need not be
    answer = client.post(path, data={"id": first(desk).id, "decision": "error", "token": token or ""}, headers=headers)
    assert answer.status_code == 403
    assert "load it again" in answer.json()["problem"]
    assert not (desk.folder / flags.FILE_NAME).exists()


def test_every_answer_carries_the_policy(client):
    for path in ("/", "/status", "/nothing", "/static/page.js", "/gpsq-results/map.html"):
        headers = client.get(path).headers
        assert "frame-ancestors" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
    policy = client.get("/").headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


def test_the_page_has_no_script_or_style_of_its_own_inside(client):
    text = client.get("/").text
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\son\w+=|\sstyle=", text)
    assert not re.search(r"(src|href)=\"(https?:)?//", text)


def test_only_this_computer_is_listened_to():
    from gpsq.web.serve import _listening

    with _listening(0) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"


# ---- how much ----
def test_answers_are_sent_at_once():
    """A connection that waits for more to send (Nagle 1984, RFC 896) costs 40 ms an answer: thirty files, a second."""
    from gpsq.web.serve import _listening

    async def accepted() -> int:
        found = asyncio.get_running_loop().create_future()

        async def come(_reader, writer):
            found.set_result(writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
            writer.close()
            await writer.wait_closed()

        with _listening(0) as listener:
            async with await asyncio.start_server(come, sock=listener):
                _, writer = await asyncio.open_connection(*listener.getsockname())
                answer = await found
                writer.close()
                await writer.wait_closed()
                return answer

    assert asyncio.run(accepted()) == 1


def test_too_large_a_drop_is_refused_before_it_is_read(client):
    answer = client.post(
        "/recordings",
        headers={"content-length": str(5 * 2**30), "content-type": "multipart/form-data; boundary=x"},
        content=b"",
    )
    assert answer.status_code == 413
    assert "1024 MiB" in answer.text


def test_a_body_that_hides_its_length_is_cut_off(client, desk, monkeypatch):
    monkeypatch.setattr(guard, "MOST_DROP_BYTES", 2**20)
    taken = 0

    async def endless():
        nonlocal taken
        yield b'--x\r\nContent-Disposition: form-data; name="files"; filename="a.gpx"\r\n\r\n'
        while taken < 2**26:
            taken += 2**16
            yield b"x" * 2**16

    answer = client.post("/recordings", headers={"content-type": "multipart/form-data; boundary=x"}, content=endless())
    assert answer.status_code == 413
    assert taken < 2**22
    assert not (desk.folder / "a.gpx").exists()


@pytest.mark.parametrize("field", ["", "wrong"])
def test_without_the_token_nothing_of_a_drop_is_taken_in(client, desk, field, monkeypatch):
    """The token comes before the first file; without it not a byte of the file reaches memory or disk."""
    taken, written = 0, []
    monkeypatch.setattr(incoming.Slice, "write", lambda self, data: written.append(data))

    async def endless():
        nonlocal taken
        if field:
            yield f'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n{field}\r\n'.encode()
        yield b'--x\r\nContent-Disposition: form-data; name="files"; filename="a.gpx"\r\n\r\n'
        while taken < 2**28:
            taken += 2**16
            yield b"x" * 2**16

    headers = {"content-type": "multipart/form-data; boundary=x", "x-gpsq-token": None}
    answer = client.post("/recordings", headers=headers, content=endless())
    assert answer.status_code == 403
    assert "load it again" in answer.json()["problem"]
    assert taken < 2**20
    assert written == []


def test_a_drop_goes_through_the_disk_and_memory_stays(tmp_path):
    """Files of 192 MiB in all, as a browser sends them: together, the token in a field before them."""
    desk = StillDesk(tmp_path)
    contents = {f"{k}.gpx": bytes([65 + k]) * (24 * 2**20 + k) for k in range(8)}

    async def sent():
        yield f'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n{desk.token}\r\n'.encode()
        for name in contents:
            yield f'--x\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n\r\n'.encode()
            for k in range(0, len(contents[name]), 2**16):
                yield contents[name][k : k + 2**16]
            yield b"\r\n"
        yield b"--x--\r\n"

    headers = {"content-type": "multipart/form-data; boundary=x", "x-gpsq-token": None}
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert Client(desk).post("/recordings", headers=headers, content=sent()).status_code == 200
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kib < 48 * 1024
    assert {path.name: path.read_bytes() for path in tmp_path.glob("*.gpx")} == contents
    assert {path.name for path in tmp_path.iterdir()} <= {*contents, ".gpsq-names.csv", ".gpsq-lock"}


def test_many_small_files_in_one_body_keep_their_bytes(tmp_path):
    """A whole body arrives in one piece: where one file ends and the next begins is known all the same."""
    desk = StillDesk(tmp_path)
    files = [("files", (f"{k}.gpx", b"" if k == 3 else f"<gpx>{'x' * k}</gpx>".encode())) for k in range(20)]
    assert Client(desk).post("/recordings", files=files).status_code == 200
    assert {path.name: path.read_bytes() for path in tmp_path.glob("*.gpx")} == {n: c for _, (n, c) in files}


def test_a_small_form_cannot_be_large(client):
    assert client.post("/flag", content=b"x" * (guard.MOST_FORM_BYTES + 1)).status_code == 413


def test_too_many_files_at_once_are_refused(client, monkeypatch):
    count = 100_000 if LONG else dropped_files.MOST_FILES + 1
    part = b'--x\r\nContent-Disposition: form-data; name="files"; filename="a.gpx"\r\n\r\nx\r\n'
    answer = client.post(
        "/recordings", headers={"content-type": "multipart/form-data; boundary=x"}, content=part * count + b"--x--\r\n"
    )
    assert answer.status_code == 400
    assert "Too many files" in answer.json()["problem"]


def test_a_zip_bomb_is_kept_as_a_file_and_said_to_be_one(tmp_path):
    from gpsq.web.worker import _Worker

    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("ride.gpx", b"0" * 300 * 2**20, compresslevel=1)
    desk = StillDesk(tmp_path)
    Client(desk).post("/recordings", files={"files": ("bomb.zip", packed.getvalue())})
    here = Path.cwd()
    try:
        records, problem = _Worker(None, None).answer("read", (str(tmp_path), "bomb.zip"))
    finally:
        os.chdir(here)
    assert problem == ""
    assert [r["outcome"] for r in records] == ["error"]
    assert "unpack to more than" in records[0]["message"]


# ---- what it does ----
def test_a_flag_is_on_the_disk_when_it_is_acknowledged(client, desk):
    found = first(desk)
    assert (
        client.post("/flag", data={"id": found.id, "decision": "intentional", "note": "the bakery"}).status_code == 200
    )
    (kept,), problems = flags.load(desk.folder)
    assert (kept.flag, kept.note, kept.from_point, problems) == ("intentional", "the bakery", found.from_point, ())
    client.post("/flag", data={"id": found.id, "decision": "clear"})
    assert flags.load(desk.folder) == ((), ())
    assert desk.asked == 2


def test_a_second_decision_keeps_the_stretch_and_the_name(desk):
    """The first decision moves the ends that are found; the second is still about the stretch that was shown."""
    analysis, found = desk.results.analysis, first(desk)
    (kept,) = flags.decided((), [found], analysis.traces, "intentional", "")
    moved = dataclasses.replace(found, from_point=found.from_point + 2, to_point=found.to_point + 1)
    (again,) = flags.decided([kept], [moved], analysis.traces, "error", "no")
    assert (again.from_point, again.to_point, again.flag, again.note) == (
        found.from_point,
        found.to_point,
        "error",
        "no",
    )


def test_several_deviations_are_flagged_at_once(client, desk):
    ids = [d.id for d in desk.results.analysis.deviations]
    client.post("/flag", data={"id": ids, "decision": "error"})
    assert len(flags.load(desk.folder)[0]) == len(ids)


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/flag", {"id": "nothing", "decision": "error"}),
        ("/flag", {"id": "", "decision": "error"}),
        ("/flag", {"decision": "error"}),
        ("/flag", {"id": "first", "decision": "perhaps"}),
        ("/start", {"file": "../../etc/passwd", "started": "2024-05-14T07:10:00Z"}),
        ("/start", {"file": "bar-unit/2025-09-08-out.gpx", "started": "soon"}),
        ("/device", {"old": "nobody", "new": "x"}),
        ("/device", {"old": "bar-unit", "new": " \n "}),
        ("/zone", {"zone": "Paris"}),
        ("/way", {"route": "nowhere", "way": "x"}),
        ("/start", {"file": "bar-unit/2025-09-08-out.gpx", "started": "08:56:52", "zone": "Paris"}),
        ("/start", {"file": "bar-unit/2025-09-08-out.gpx", "started": "08:58:52Z"}),
        ("/place", {"lat": "x", "lon": "1", "radius_m": "300"}),
        ("/place", {"lat": "1", "lon": "1", "radius_m": "-300"}),
    ],
)
def test_what_cannot_be_followed_is_said_in_one_line(client, desk, path, data):
    data = {**data, "id": first(desk).id} if data.get("id") == "first" else data
    before = {p: p.read_bytes() for p in desk.folder.rglob("*.*") if p.is_file()}
    answer = client.post(path, data=data)
    assert answer.status_code == 400
    assert "\n" not in answer.json()["problem"]
    assert {p: p.read_bytes() for p in desk.folder.rglob("*.*") if p.is_file() and p.name != ".gpsq-lock"} == before


def test_before_there_are_results_nothing_can_be_flagged(tmp_path):
    answer = Client(StillDesk(tmp_path)).post("/flag", data={"id": "abc123", "decision": "error"})
    assert (answer.status_code, answer.json()["problem"]) == (409, "There are no results yet.")


def test_a_start_and_a_name_and_a_place_reach_the_plain_files(client, desk):
    file = "bar-unit/2025-09-08-out.gpx"
    client.post("/start", data={"file": file, "started": "2025-09-08T08:56:40Z"})
    client.post("/device", data={"old": "bar-unit", "new": "Handle-bar"})
    client.post("/place", data={"lat": "56.21", "lon": "-24.05", "radius_m": "250"})
    told = campaign_file.load(desk.folder)
    assert start_log.load(desk.folder, told).entries[file].device == "bar-unit"
    assert told.devices == {"bar-unit": "Handle-bar"}
    assert told.private_places == (campaign_file.PrivatePlace(56.21, -24.05, 250.0),)
    client.post("/place", data={"lat": "56.21", "lon": "-24.05", "radius_m": "250.0", "remove": "1"})
    assert campaign_file.load(desk.folder).private_places == ()


def test_a_start_keeps_the_pages_zone_only_where_it_needs_it_and_none_is_kept(client, desk):
    """The demo rides at UTC-2: in Noronha (IANA time zone data)."""
    file = "bar-unit/2025-09-08-out.gpx"
    client.post("/start", data={"file": file, "started": "08:56:40Z", "zone": "America/Noronha"})
    assert campaign_file.load(desk.folder).time_zone is None
    client.post("/start", data={"file": file, "started": "06:56:40", "zone": "America/Noronha"})
    told = campaign_file.load(desk.folder)
    assert told.time_zone == "America/Noronha"
    assert str(start_log.load(desk.folder, told).entries[file].started) == "2025-09-08T08:56:40.000"
    refused = client.post("/start", data={"file": file, "started": "08:56:40", "zone": "Europe/London"})
    assert "2.0 h after the first fix" in refused.json()["problem"]


def test_title_and_zone_come_and_go(client, desk):
    client.post("/title", data={"title": " Rolls   for all "})
    client.post("/zone", data={"zone": "Asia/Kathmandu"})
    told = campaign_file.load(desk.folder)
    assert (told.title, told.time_zone) == ("Rolls for all", "Asia/Kathmandu")
    client.post("/way", data={"route": "A", "way": "to the ferry"})
    assert campaign_file.load(desk.folder).routes == {"A": "to the ferry"}
    client.post("/title", data={"title": ""})
    client.post("/zone", data={"zone": " "})
    told = campaign_file.load(desk.folder)
    assert (told.title, told.time_zone) == ("", None)
    assert desk.asked == 5


def test_without_a_script_a_refusal_stands_beside_its_field_and_keeps_what_was_typed(client, desk):
    data = {"file": "bar-unit/2025-09-08-out.gpx", "started": "7.43 <b>"}
    text = client.post("/start", data=data, headers={"accept": "text/html"}).text
    row = text[text.index('value="7.43 &lt;b&gt;"') :].partition("</form>")[0]
    assert re.search(r'class="beside" role="alert">start: found .* as hh:mm:ss', row)
    assert text.count('class="beside"') == 1


def test_without_a_script_a_form_leads_back_to_the_page(client, desk):
    answer = client.post("/flag", data={"id": first(desk).id, "decision": "error"}, headers={"accept": "text/html"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/#d-{first(desk).id}")
    refused = client.post("/device", data={"old": "nobody", "new": "x"}, headers={"accept": "text/html"})
    assert refused.status_code == 400
    assert "nobody" in refused.text
    assert "<h1>" in refused.text


def test_files_come_with_the_plain_form(tmp_path):
    desk = StillDesk(tmp_path)
    desk.reader.put = lambda *_: type("Never", (), {"add_done_callback": lambda *_: None})()
    content = (DEMO / "bar-unit" / "2025-09-08-out.gpx").read_bytes()
    files = [
        ("files", ("a.gpx", content)),
        ("files", ("b.gpx", content)),
        ("files", ("rides.csv", b"file,device,started\n")),
    ]
    answer = Client(desk).post("/recordings", files=files, headers={"accept": "text/html"})
    assert answer.status_code == 303
    assert sorted(p.name for p in tmp_path.iterdir() if p.name[0] != ".") == ["a.gpx", "rides.csv"]
    assert [line.outcome for line in desk.received] == ["being read", "known", "new"]
    assert desk.asked == 1


# ---- what it hands out ----
def test_a_picture_follows_the_look_of_the_page_only_where_the_page_shows_it(client, results):
    name = "figures/first-fix.svg"
    kept = (results / name).read_text("utf-8")
    assert client.get(f"/gpsq-results/{name}").text == kept
    shown = client.get(f"/gpsq-results/{name}?as=page").text
    assert "#1c2428" in kept
    assert "var(--ink)" not in kept
    drawn = shown.partition("</style>")[2]
    assert "var(--ink)" in drawn
    assert "#1c2428" not in drawn
    assert "prefers-color-scheme:dark" in shown
    assert client.get("/gpsq-results/tracks.csv?as=page").content == (results / "tracks.csv").read_bytes()


def test_only_files_that_gpsq_wrote_are_handed_out(client, results, tmp_path_factory):
    secret = tmp_path_factory.mktemp("elsewhere") / "secret.txt"
    secret.write_text("secret")
    (results / "stranger.txt").write_text("secret")
    assert client.get("/gpsq-results/tracks.csv").content == (results / "tracks.csv").read_bytes()
    names = [
        "stranger.txt",
        "../rides.csv",
        "..%2frides.csv",
        "%2e%2e/rides.csv",
        "/etc/passwd",
        "%2fetc%2fpasswd",
        "figures",
        "..\\rides.csv",
        "tracks.csv%00",
    ]
    for name in names:
        answer = client.get(f"/gpsq-results/{name}")
        assert answer.status_code == 404, name
        assert "secret" not in answer.text
    (results / "tracks.csv").unlink()
    (results / "tracks.csv").symlink_to(secret)
    assert client.get("/gpsq-results/tracks.csv").status_code == 404
    with zipfile.ZipFile(io.BytesIO(client.get("/everything.zip").content)) as archive:
        assert "report.html" in archive.namelist()
        assert "tracks.csv" not in archive.namelist()


def test_a_moved_folder_is_said_in_one_sentence_and_the_page_still_stands(client, desk):
    shutil.move(desk.folder, desk.folder.with_name("elsewhere"))
    for path, data in (
        ("/flag", {"id": first(desk).id, "decision": "error"}),
        ("/place", {"lat": "1", "lon": "1", "radius_m": "3"}),
    ):
        answer = client.post(path, data=data)
        assert answer.status_code == 409
        assert "no longer there" in answer.json()["problem"]
    assert client.get("/").status_code == 200


# ---- text from files ----
class Markup(HTMLParser):
    """Collects the tags, attributes and text of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, frozenset(name for name, _ in attrs)))

    def handle_data(self, data):
        self.text.append(data)


def test_hostile_names_are_shown_as_text(tmp_path):
    analysis, desk = sample(), StillDesk(tmp_path)
    desk.results = Results(1, analysis, map_page(analysis), page_data.of_analysis(analysis, {}))
    for name in HOSTILE:
        desk.receive(name, io.BytesIO(name.encode()))
    desk.problem = HOSTILE[0]
    text = Client(desk).get("/").text
    page = Markup(text)
    assert "<script>window" not in text
    assert "<img src=x" not in text
    assert text.count("<img ") == text.count('<img src="/gpsq-results/figures/') == len(desk.results.shown["pictures"])
    assert {tag for tag, _ in page.tags} & {"b", "lane", "object", "base"} == set()
    assert not any(name.startswith("on") for _, names in page.tags for name in names)
    assert "49" not in "".join(t for t in page.text if "A{{" in t)
    assert any("A{{7*7}}B" in t for t in page.text)
    assert any(HOSTILE[0] in t for t in page.text)


# ---- whatever is sent ----
WORDS = [
    "",
    "x",
    "../..",
    "\0",
    "1e999",
    "nan",
    "🚲",
    "a" * 3000,
    "-1",
    "<b>",
    "2024-05-14T07:10:00Z",
    "56.2",
    "intentional",
    "clear",
    "map.html",
    'x"\n[[private_place]]\nlat = 1',
    "Europe/Paris",
    "2025-09-08;07:00:12\u2028\r\n9.9.2025\t7:00\x0b\n",
    'file,device,started\nbar-unit/2025-09-08-out.gpx,=1+1,2025-09-08T05:00:00Z\n"unclosed',
]


def any_request(rng, desk):
    ids = [d.id for d in desk.results.analysis.deviations]
    words = [*WORDS, *ids, "bar-unit", "bar-unit/2025-09-08-out.gpx"]
    names = [
        "id",
        "decision",
        "note",
        "file",
        "started",
        "title",
        "zone",
        "route",
        "way",
        "log",
        "old",
        "new",
        "lat",
        "lon",
        "radius_m",
        "remove",
        "token",
        "path",
        "more",
    ]
    path = rng.choice(
        [
            "/",
            "/status",
            *CHANGING,
            "/static/",
            "/gpsq-results/",
            "/published/",
            "/published/everything.zip",
            "/x",
        ]
    )
    if path.endswith("/") and path != "/":
        path += rng.choice(["%00", "map.html", "..%2f..", "page.css", "%ff", "leaflet.js", "a/b", "run.json"])
    headers = {}
    if rng.random() < 0.2:
        headers[
            rng.choice(
                ["host", "origin", "x-gpsq-token", "accept", "content-type", "cookie", "range", "sec-fetch-site"]
            )
        ] = rng.choice(
            ["x", "", "http://x", "multipart/form-data; boundary=a", "multipart/form-data", "bytes=0-1", "text/html"]
        )
    more = {"headers": headers, "params": rng.choice([None, {"n": rng.choice(["1", "x", ""])}])}
    kind = rng.randrange(5)
    data = {name: rng.choice(words) for name in rng.sample(names, rng.randrange(8))}
    if kind == 0:
        more["content"] = rng.randbytes(rng.randrange(2000))
    elif kind == 1:
        more["files"] = [
            (
                "files",
                (
                    rng.choice([w for w in words if w]) + rng.choice(["", ".gpx", ".zip"]),
                    rng.randbytes(rng.randrange(50)),
                ),
            )
            for _ in range(rng.randrange(1, 4))
        ]
        more["data"] = data
    elif kind < 4:
        more["data"] = data
    return rng.choice(["GET", "POST", "POST", "POST", "HEAD", "PUT", "DELETE", "OPTIONS", "TRACE"]), path, more


def test_no_request_makes_it_stumble(desk, client):
    """Own fuzz: any request is answered, none with an error of the server's own."""
    rng = random.Random(2025)
    desk.reader.put = lambda *_: type("Never", (), {"add_done_callback": lambda *_: None})()
    desk.write = desk.analyse
    desk.publish = desk.look_at_cuts = desk.analyse
    for number in range(FUZZ):
        method, path, more = any_request(rng, desk)
        answer = client.request(method, path, **more)
        assert answer.status_code < 500, (number, method, path, more)
        if "host" in more["headers"]:
            assert answer.status_code == 421, (number, method, path, more)
        elif "origin" in more["headers"] and method not in ("GET", "HEAD"):
            assert answer.status_code == 403, (number, method, path, more)
    assert flags.load(desk.folder)[1] == ()
    campaign_file.load(desk.folder)
    assert demo_results()[0].deviations


def test_figures_are_set_against_the_last_change_and_the_first_run(tmp_path, monkeypatch):
    """A run that alters nothing says so, and leaves what the change before it altered."""
    analysis, drawn = demo_results()
    same = page_data.figures(analysis)
    runs = iter([same, same | {("bar-unit", "xte_rms_m"): "99 m"}, same | {("bar-unit", "xte_rms_m"): "99 m"}, same])
    monkeypatch.setattr(page_data, "figures", lambda _: next(runs))
    desk = StillDesk(tmp_path)

    def found():
        answer = Future()
        answer.set_result((dataclasses.replace(analysis), drawn))
        desk._found(answer)
        shown = desk.results.shown
        cells = [cell for *_, cells in shown["errors"]["rows"] for cell in cells]
        return (
            shown["unmoved"],
            [cell.before for cell in cells if cell.before],
            [cell.first for cell in cells if cell.first],
        )

    assert found() == (False, [], [])
    unmoved, before, _ = found()
    assert (unmoved, before) == (False, [])  # the figure shown is the analysis's own, as it was before
    assert found()[0]
    assert found() == (False, ["99 m"], [])


def test_what_would_be_cut_is_shown_before_anything_is_written(tmp_path):
    """Of each way how much is shown, and under which names the devices are; the same zones then serve the publication."""
    shutil.copytree(DEMO, tmp_path, dirs_exist_ok=True)
    analysis, _ = demo_results()
    lines = preview(analysis, tmp_path)
    kept = (tmp_path / secret.NAME).read_bytes()
    said = " ".join(lines).replace("\N{NO-BREAK SPACE}", " ")
    for route in analysis.routes:
        assert re.search(
            rf"Route {route.route.name}: [\d.]+ k?m of {route.centreline.length_m / 1000:.2f} km is shown", said
        )
    assert "Devices under their own names: 'bag-unit', 'bar-unit', 'pocket-unit'." in said
    assert not (tmp_path / "gpsq-published").exists()
    assert preview(analysis, tmp_path) == lines
    assert (tmp_path / secret.NAME).read_bytes() == kept


def test_the_page_shows_the_preview(tmp_path):
    desk = desk_with_results(tmp_path)
    desk.preview = ("Route A: 2 km of 3 km is shown <b>, both ends are cut.",)
    text = Client(desk).get("/").text
    assert "nothing is written yet" in text
    assert "2 km of 3 km is shown &lt;b&gt;" in text
