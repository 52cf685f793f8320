"""Points taken by a pattern of the first one, against the parser alone: whatever the document, the same texts or no XML."""

from __future__ import annotations

import re
import xml.parsers.expat as expat
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.reading.gpx import handlers, runs
from gpsq.reading.gpx.handlers import Sink, new_parser

if TYPE_CHECKING:
    from collections.abc import Iterator

DEMO = Path(__file__).parents[2] / "demo_routes"


def by_the_parser(data: bytes) -> Sink:
    sink = Sink()
    new_parser(sink).Parse(data, True)
    return sink


def outcome(read: Any, data: bytes) -> Sink | None:
    try:
        return read(data)
    except expat.ExpatError:
        return None


def same(data: bytes) -> bool:
    return outcome(runs.parse, data) == outcome(by_the_parser, data)


@contextmanager
def eager() -> Iterator[None]:
    """Try at every point, and look at a few points at a time."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in (("_LEAST", 0), ("_WITHOUT", 0), ("_AT_A_TIME", 300), ("_MOST_FORMS", 1000)):
            patch.setattr(runs, name, value)
        yield


def document(points: str, between: str = "") -> bytes:
    head = '<?xml version="1.0"?>\n<gpx version="1.1" creator="unit"><metadata><time>2025-03-03T06:00:00Z</time></metadata>'
    return f"{head}<trk><name>a</name><trkseg>{points}{between}</trkseg></trk></gpx>".encode()


def point(k: int) -> str:
    return f'<trkpt lat="51.{k:05d}" lon="-3.{k:05d}"><ele>{k}.5</ele><time>2025-03-03T06:{k % 60:02d}:00Z</time></trkpt>\n'


# ---- any document ----

VALUES = (
    "51.5",
    "-3.25",
    "5e1",
    "1",
    "",
    "51,5",
    " 51.5",
    "a b",
    "é",
    "&#53;1",
    "&lt;",
    "0" * 65,
    "2025-03-03T06:00:00Z",
)
FORMS = (
    '<trkpt lat="{0}" lon="{1}"><ele>{2}</ele><time>{3}</time></trkpt>\n',
    '<trkpt lon="{1}"  lat="{0}"><ele>{2}</ele></trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"/>',
    '<trkpt lat="{0}" lon="{1}" />\r\n',
    '<trkpt lat="{0}" lat="{1}"/>',
    "<trkpt lat='{0}' lon=\"{1}\"><ele>{2}</ele></trkpt>\n",
    '<trkpt lat="{0}" lon="{1}"><ele>{2}</ele><ele>{3}</ele></trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"><extensions>\n <x:y><x:hr>{2}</x:hr>\n</x:y> </extensions></trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"><name>by the {2}</name><sat a="{2}">{3}</sat></trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"><ele>{2}<b/></ele></trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"><ele>{2}</ele></trkpt><wpt lat="{0}" lon="{1}"/>\n',
    '<trkpt lat="{0}" lon="{1}"><ele>{2}</ele></trkpt></trkseg><trkseg>\n',
    '<trkpt lat="{0}" lon="{1}"><ele>{2}</ele></trkpt></trkseg></trk><trk><trkseg>',
    '<trkpt lat="{0}" lon="{1}"><!-- {2} --></trkpt>\n',
    '<!-- <trkpt lat="{0}" lon="{1}"/>\n -->',
    '<![CDATA[<trkpt lat="{0}" lon="{1}"/>\n<trkpt lat="{0}" lon="{1}"/>\n]]>',
    '<trkpt\nlat="{0}" lon="{1}"><trkpt lat="{0}" lon="{1}"/> </trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"><trkpt lat="{0}" lon="{1}"/></trkpt>\n',
    '<p:trkpt lat="{0}" lon="{1}"><ele>{2}</ele></p:trkpt>\n',
    '<trkpt lat="{0}" lon="{1}"></trkpt>',
    '</trkpt>', '<trkpt lat="{0}" lon="{1}"> </trkpt> </trkpt> ', "<", "\x01",
)  # fmt: skip
ordinary = st.lists(st.sampled_from(VALUES[:4]), min_size=4, max_size=4)
odd = st.lists(st.sampled_from(VALUES), min_size=4, max_size=4)
pieces = st.tuples(st.sampled_from(FORMS), st.lists(ordinary | odd, min_size=1, max_size=6))


@settings(max_examples=250, deadline=None)
@given(st.lists(pieces, max_size=6), st.data())
def test_the_same_as_the_parser_alone(written: list[tuple[str, list[list[str]]]], data: st.DataObject) -> None:
    text = document("".join(form.format(*values) for form, rows in written for values in rows))
    at, byte = data.draw(st.integers(0, len(text) - 1)), data.draw(st.integers(0, 255))
    with eager():
        assert same(text)
        assert same(text[:at])
        assert same(text[:at] + bytes([byte]) + text[at + data.draw(st.integers(0, 2)) :])


def test_the_same_on_the_demo_as_it_is_and_with_faults() -> None:
    check(DEMO, faults=12)


@pytest.mark.open_data
def test_the_same_on_open_recordings_as_they_are_and_with_faults(shared: Path) -> None:
    check(shared, faults=6)


@pytest.mark.parametrize("form", FORMS)
def test_each_way_of_writing_again_and_again(form: str) -> None:
    """Alone, with values that change, and between points of the plain way."""
    rows = [form.format(f"51.{k}", f"-3.{k}", f"{k}", f"{k}Z") for k in range(40)]
    with eager():
        assert same(document("".join(rows)))
        for one, other in pairwise(rows):
            assert same(document(f"{one}{other}"))
            assert same(document(f"{point(1)}{point(2)}{one}{other}{point(3)}{point(4)}"))
        for value in VALUES:
            odd = form.format(value, value, value, value)
            assert same(document("".join([*rows[:3], odd, *rows[3:5]])))


def check(folder: Path, faults: int) -> None:
    rng = np.random.default_rng(5)
    files = sorted(path for path in folder.rglob("*.gpx") if path.stat().st_size < 2_000_000)
    assert len(files) > 5
    for path in files:
        data = path.read_bytes()
        assert same(data), path
        data = data[:20_000]
        for _ in range(faults):
            at, many = int(rng.integers(len(data) + 1)), int(rng.integers(0, 3))
            with eager():
                assert same(data[:at] + rng.bytes(many) + data[at + int(rng.integers(0, 3)) :]), (path, at)


# ---- what is taken, and what bounds it ----


@pytest.fixture
def tags(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The start tags that the parser meets."""
    met: list[str] = []
    start = handlers.Sink.start
    monkeypatch.setattr(handlers.Sink, "start", lambda own, name, a: met.append(name) or start(own, name, a))
    return met


def test_points_that_are_written_alike_do_not_go_through_the_parser(tags: list[str]) -> None:
    data = document("".join(map(point, range(20_000))))
    track = runs.parse(data).tracks[0]
    assert tags.count("trkpt") == 1
    assert track.lat == [f"51.{k:05d}" for k in range(20_000)]
    assert track.values["ele"] == (list(range(20_000)), [f"{k}.5" for k in range(20_000)])
    assert same(data)


def test_a_point_that_is_written_otherwise_is_read_between_two_runs(tags: list[str]) -> None:
    odd = '<trkpt lat="51.5" lon="-3.5"><ele>7</ele><fix>3d</fix></trkpt>'
    data = document("".join([*map(point, range(5000)), odd, *map(point, range(5000))]))
    assert len(runs.parse(data).tracks[0].lat) == 10_001
    assert tags.count("trkpt") < 2000
    assert same(data)


def test_a_new_track_begins_its_own_columns() -> None:
    """The second has as many other names as a track may have, so the first one's names find no place in it."""
    many = "".join(f"<n{k}>1</n{k}>" for k in range(64))
    second = f'<trkpt lat="1" lon="2">{many}</trkpt>' + "".join(map(point, range(50)))
    assert same(document("".join(map(point, range(50))) + "</trkseg></trk><trk><trkseg>" + second))


def test_a_point_inside_a_point_whose_end_is_not_its_own_is_no_run() -> None:
    """The inner one, and the end of the outer one behind it, are written alike again: that is no XML any more."""
    inner = '<trkpt lat="1" lon="2"/> </trkpt>\n'
    data = document('<trkpt\nlat="1" lon="2">' + 40 * inner)
    assert outcome(by_the_parser, data) is None
    assert same(data)


def test_ever_new_ways_of_writing_cost_no_more_than_a_few_patterns(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []
    compiled = re.compile
    monkeypatch.setattr(runs, "_WITHOUT", 0)
    monkeypatch.setattr(runs.re, "compile", lambda pattern: made.append(pattern) or compiled(pattern))
    text = "".join(f'<trkpt lat="1" lon="2"><a{k}>1</a{k}></trkpt>' for k in range(200))
    assert same(document(text))
    assert len(made) == runs._MOST_FORMS


def test_after_a_short_run_nothing_is_tried_for_a_while(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[int] = []
    form = runs._form
    monkeypatch.setattr(runs, "_form", lambda *a: tried.append(1) or form(*a))
    data = document(2000 * '<trkpt lat="1" lon="2"/>\n<trkpt lat="1" lon="2"/>\n<trkpt lat="1" lon="2"> </trkpt>\n')
    assert same(data)
    assert len(tried) == len(data) // runs._WITHOUT + 1


def test_a_very_long_point_is_left_to_the_parser(tags: list[str]) -> None:
    long = f'<trkpt lat="1" lon="2"><a>{" " * runs._MOST_BYTES}</a></trkpt>'
    assert same(document(long * 40))
    tags.clear()
    runs.parse(document(long * 40))
    assert tags.count("trkpt") == 40
