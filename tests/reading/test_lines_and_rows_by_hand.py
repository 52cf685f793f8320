"""Reference lines from GeoJSON and GPX, and recordings from Parquet, value by value; what is refused and how it is said."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from gpsq.exceptions import GeometryError, UnreadableFile
from gpsq.model import Trace, Unreadable
from gpsq.reading.parquet import read_parquet
from gpsq.reading.recording import FIX_UNSAID, Recording
from gpsq.reading.reference_line import ReferenceLine, load, parse_geojson, read_line
from gpsq.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

NO_LINE, NO_TEXT = "no line, or positions out of range", "text that is no GeoJSON line"
EXPECTED = "a GeoJSON LineString of two positions or more"
FIRST = {"type": "LineString", "coordinates": [[3, 51, 20.5], [4, 52, 21.5], [180.0, -90.0]]}
SECOND = {"type": "LineString", "coordinates": [[5, 51], [6, 52]]}
POINT = {"type": "Point", "coordinates": [1, 2]}


def line(node: Any) -> list[list[float]]:
    lon, lat = parse_geojson(json.dumps(node).encode(), "l.geojson")
    return np.column_stack([lon, lat]).tolist()


@pytest.mark.parametrize(
    "node",
    [
        FIRST,
        {"type": "Feature", "geometry": FIRST},
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": POINT}, {"geometry": FIRST}, SECOND]},
        {"type": "GeometryCollection", "geometries": [POINT, FIRST, SECOND]},
        {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": None}, {"geometry": {"geometries": [FIRST]}}]},
        {"type": "FeatureCollection", "features": [{"geometry": {"type": "LineString", "coordinates": []}}, {"geometry": FIRST}]},
    ],
)  # fmt: skip
def test_the_first_line_of_a_document_is_taken(node: Any) -> None:
    """RFC 7946: longitude before latitude, a height may follow; WGS 84 ends at 180° and 90°."""
    assert line(node) == [[3.0, 51.0], [4.0, 52.0], [180.0, -90.0]]
    marked = b"\xef\xbb\xbf" + json.dumps(node).encode()
    assert parse_geojson(marked, "l")[0][0] == 3.0


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("{", NO_TEXT), ("\xff", NO_TEXT), ("[1, 2]", NO_LINE),
        (json.dumps(POINT), NO_LINE), ('{"type":"LineString","coordinates":[[3,51]]}', NO_LINE),
        ('{"type":"LineString","coordinates":[[3,51],[181,52]]}', NO_LINE),
        ('{"type":"LineString","coordinates":[[3,51],[3,91]]}', NO_LINE),
        ('{"type":"LineString","coordinates":[[3,51],["x",5]]}', NO_TEXT),
        ('{"type":"LineString","coordinates":[[3,51],[4]]}', NO_TEXT),
        ('{"type":"LineString","coordinates":[[3,51],[NaN,5]]}', NO_LINE),
        ('{"type":"LineString","coordinates":[1,2]}', NO_TEXT),
        ('{"type":"LineString","coordinates":"x"}', NO_LINE),
        ('{"a":' * 100_000, NO_TEXT),
    ],
)  # fmt: skip
def test_what_is_no_line_is_refused(text: str, found: str) -> None:
    with pytest.raises(UnreadableFile) as caught:
        parse_geojson(text.encode("latin-1"), "l.geojson")
    assert (caught.value.found, caught.value.expected, caught.value.reason) == (found, EXPECTED, "no_line")


def test_lines_are_read_by_what_they_are_and_each_bad_file_is_a_line(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text(json.dumps(FIRST))
    (tmp_path / "b.json").write_text('<gpx><rte><rtept lat="51" lon="3"/><rtept lat="52" lon="4"/></rte></gpx>')
    (tmp_path / "c.gpx").write_text("<gpx/>")
    (tmp_path / "d.gpx").mkdir()
    found, problems = load(tmp_path, {"A": "a.txt", "x.gpx": "c.gpx", "B": "b.json", "y": "gone.gpx", "z": "d.gpx"})
    assert [(one.of, one.file, one.lon_deg.tolist()[:2]) for one in found] == [
        ("A", "a.txt", [3.0, 4.0]),
        ("B", "b.json", [3.0, 4.0]),
    ]
    assert problems[0] == "c.gpx: found 0 positions; expected a line of two or more"
    assert [p.split(": found ")[0] for p in problems] == ["c.gpx", "gone.gpx", "d.gpx"]
    assert problems[1] == "gone.gpx: found No such file or directory; expected a readable file"
    assert problems[2].endswith("; expected a readable file")
    with pytest.raises(UnreadableFile) as caught:
        read_line(tmp_path / "gone.gpx")
    assert (caught.value.file, caught.value.reason) == ("gone.gpx", "cannot_open")
    assert not found[0].lon_deg.flags.writeable
    with pytest.raises(GeometryError, match="one length"):
        ReferenceLine("A", "a", np.zeros(2), np.zeros(3))


# recordings


def test_arrays_of_a_recording_have_one_length() -> None:
    n = np.zeros(3)
    values = {
        "name": "", "creator": "", "time": np.full(3, np.datetime64("NaT", "ms")), "lon_deg": n, "lat_deg": n,
        "problem": np.full(3, "", dtype=object), "fix": np.full(3, FIX_UNSAID), "ele_m": n, "hdop": n, "sat": n,
        "speed_mps": n, "segment": np.zeros(3, dtype=np.int64),
    }  # fmt: skip
    whole = Recording(**values)
    assert (whole.points, whole.date_known, whole.truncated, whole.clock_jumps_at_fix) == (3, True, False, False)
    assert (whole.notes, whole.remarks, whole.extras, whole.counts) == ((), (), {}, {})
    assert np.isnat(whole.file_time)
    for name in ("time", "lon_deg", "lat_deg", "problem", "fix", "ele_m", "hdop", "sat", "speed_mps", "segment"):
        with pytest.raises(GeometryError, match="one length"):
            Recording(**(values | {name: values[name][:2]}))


N = 24
ROWS = {
    "recording": ["b"] * N + ["a"] * N,
    "device": ["dev b"] * N + ["dev a"] * N,
    "time": np.datetime64("2024-05-14T07:00:00", "ms") + np.arange(2 * N) * np.timedelta64(1, "s"),
    "lon_deg": 3.0 + 1e-4 * np.arange(2 * N), "lat_deg": 51.0 + 1e-5 * (np.arange(2 * N) % 5), "ele_m": 10.0 + np.arange(2 * N),
    "hdop": 1.0 + np.arange(2 * N) / 100, "sat": 4 + np.arange(2 * N), "speed_mps": 5.0 + np.arange(2 * N) / 10,
    "segment": np.repeat([0, 1, 0, 2], N // 2),
}  # fmt: skip


def parquet(path: Path, without: tuple[str, ...] = (), **changes: Any) -> list[Trace | Unreadable]:
    pa = pytest.importorskip("pyarrow", reason="the extra `cluster` is not installed")
    import pyarrow.parquet as pq

    pq.write_table(pa.table({k: v for k, v in (ROWS | changes).items() if k not in without}), path / "x.parquet")
    return read_parquet(path / "x.parquet", "x.parquet", settings=Settings())


def test_every_column_of_a_row_is_in_its_place(tmp_path: Path) -> None:
    first, second = parquet(tmp_path)
    assert isinstance(first, Trace)
    assert isinstance(second, Trace)
    assert [(t.file, t.track, t.name, t.device) for t in (first, second)] == [
        ("a", 1, "a", "dev a"),
        ("b", 1, "b", "dev b"),
    ]
    for trace, rows in ((first, slice(N, 2 * N)), (second, slice(0, N))):
        for name in ("lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps", "time"):
            assert getattr(trace, name).tolist() == np.asarray(ROWS[name])[rows].tolist(), name
    assert (first.segment.tolist(), second.segment.tolist()) == ([0] * 12 + [1] * 12, [0] * 12 + [1] * 12)
    assert first.sha256 != second.sha256


def test_columns_that_are_not_there_are_unknown(tmp_path: Path) -> None:
    (first, _) = parquet(tmp_path, without=("device", "time", "ele_m", "hdop", "sat", "speed_mps", "segment"))
    assert isinstance(first, Trace)
    assert np.isnat(first.time).all()
    assert np.isnan([first.ele_m, first.hdop, first.sat, first.speed_mps]).all()
    assert (first.device, first.segment.tolist()) == ("", [0] * N)
    nothing = parquet(tmp_path, lat_deg=np.where(np.arange(2 * N) == N + 3, np.nan, ROWS["lat_deg"]))[0]
    assert [(s.reason, s.points, s.first_point) for s in nothing.set_aside] == [("no_position", 1, 3)]
    gone = parquet(tmp_path, lon_deg=np.full(2 * N, np.nan), time=np.full(2 * N, np.datetime64("NaT", "ms")))
    assert all(isinstance(t, Unreadable) for t in gone)


def test_a_recording_of_one_row_is_one(tmp_path: Path) -> None:
    names = ["b"] * (2 * N - 1) + ["a"]
    single, _ = parquet(tmp_path, recording=names)
    assert isinstance(single, Trace)
    assert (single.accepted, single.device, single.lon_deg[0]) == (1, "dev a", np.asarray(ROWS["lon_deg"])[-1])


def test_points_may_be_wkb(tmp_path: Path) -> None:
    import shapely

    points = shapely.to_wkb(shapely.points(np.asarray(ROWS["lon_deg"]), np.asarray(ROWS["lat_deg"])))
    (first, _) = parquet(tmp_path, without=("lon_deg", "lat_deg"), geometry=list(points))
    assert isinstance(first, Trace)
    assert first.lon_deg.tolist() == np.asarray(ROWS["lon_deg"])[N:].tolist()
    assert first.lat_deg.tolist() == np.asarray(ROWS["lat_deg"])[N:].tolist()


@pytest.mark.parametrize("without", [("recording",), ("lon_deg",), ("lat_deg",)])
def test_columns_that_are_needed_are_named(tmp_path: Path, without: tuple[str, ...]) -> None:
    (found,) = parquet(tmp_path, without=without)
    have = ", ".join(name for name in ROWS if name not in without)
    assert isinstance(found, Unreadable)
    assert (found.file, found.track, found.reason) == ("x.parquet", 0, "no_coordinate_columns")
    assert (
        found.message
        == f"x.parquet: found columns {have}; expected columns recording, and geometry or lon_deg and lat_deg, each once"
    )
    (tmp_path / "x.parquet").write_bytes(b"no table")
    (broken,) = read_parquet(tmp_path / "x.parquet", "x.parquet", settings=Settings())
    assert isinstance(broken, Unreadable)
    assert (broken.reason, broken.track) == ("not_parquet", 0)
    assert broken.message.endswith("; expected a Parquet file")
