"""A fleet streams through route by route: what a campaign gives, whether it was stopped on the way or not."""

from __future__ import annotations

import hashlib
import json
import shutil
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pytest
import three_days

from gpsq import cli
from gpsq.exceptions import NothingToAnalyse, OutputError
from gpsq.model import Unreadable
from gpsq.output.tables import tables
from gpsq.pipeline import executors, fleet, fleet_routes
from gpsq.pipeline.analysis import analyse
from gpsq.pipeline.executors import Local
from gpsq.reading import read_folder
from gpsq.reading.parquet import read_parquet
from gpsq.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

pytest.importorskip("pyarrow", reason="the extra `cluster` is not installed")


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    three_days.put(folder)
    (folder / "broken.gpx").write_text("<gpx><trk>")
    return folder


@pytest.fixture(scope="module")
def one_day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """As few as a fleet of three devices can be."""
    return three_days.put(tmp_path_factory.mktemp("day"), "*-09-out.gpx")


@pytest.fixture(scope="module")
def results(campaign: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("fleet") / "out"
    found = fleet.run(campaign, out, executor=Local(1))
    assert found.unreadable == 1
    return out


def partitions(out: Path) -> dict[str, str]:
    return {
        path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(out.rglob("*.parquet"))
    }


def tracks(out: Path) -> pd.DataFrame:
    parts = [pd.read_parquet(path) for path in sorted((out / "tracks").rglob("part.parquet"))]
    return pd.concat(parts).drop(columns="geometry").sort_values(["file", "track"]).reset_index(drop=True)


def each_way_alone(campaign: Path, scratch: Path) -> pd.DataFrame:
    """Return the figures of the recordings of each way analysed without the other, whose ends lead the head of a line."""
    parts = []
    for way, other in (("out", "back"), ("back", "out")):
        shutil.copytree(campaign, scratch / way)
        for file in (scratch / way).rglob(f"*-{other}.gpx"):
            file.unlink()
        parts.append(tables.tracks(analyse(scratch / way)))
    return pd.concat(parts).drop_duplicates(["file", "track"])


def test_the_figures_are_those_of_a_campaign(campaign: Path, results: Path, tmp_path: Path) -> None:
    """Where devices share a route, nothing of a recording depends on other routes but the head of its line."""
    expected = each_way_alone(campaign, tmp_path)
    expected = expected[expected["status"] != "unreadable"].sort_values(["file", "track"]).reset_index(drop=True)
    found = tracks(results)
    assert found["file"].tolist() == expected["file"].tolist()
    on_route = expected["accepted"] >= 2
    for column in ("device", "status", "ttff_s", "settle_s", "missed_m", "xte_rms_m", "frechet_m", "length_m"):
        a, b = found[column][on_route], expected[column][on_route]
        assert (a.isna() == b.isna()).all(), column
        assert (a[a.notna()].to_numpy() == b[b.notna()].to_numpy()).all(), column
    assert found["route"][on_route].nunique() >= 2


@pytest.mark.parametrize("after", [1, 2])
def test_stopped_and_taken_up_again(campaign: Path, results: Path, tmp_path: Path, after: int) -> None:
    out = tmp_path / "out"

    def stop(what: str, done: int, of: int) -> None:
        if what == "analysing routes" and done == after:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fleet.run(campaign, out, executor=Local(1), on_progress=stop)
    finished = {path: (out / path).stat().st_mtime_ns for path in partitions(out)}
    assert finished
    assert not (out / fleet.TOLD).exists()
    told: list[tuple[str, int, int]] = []
    fleet.run(campaign, out, executor=Local(1), on_progress=lambda *what: told.append(what))
    assert partitions(out) == partitions(results)
    assert told[0][:2] == ("analysing routes", after), "sorting and finished routes are not done again"
    assert {path: (out / path).stat().st_mtime_ns for path in finished} == finished


def test_stopped_while_sorting(campaign: Path, results: Path, tmp_path: Path) -> None:
    def stop(what: str, done: int, of: int) -> None:
        if what == "sorting recordings" and done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fleet.run(campaign, tmp_path / "out", executor=Local(1), on_progress=stop)
    fleet.run(campaign, tmp_path / "out", executor=Local(1))
    assert partitions(tmp_path / "out") == partitions(results)


def test_the_same_on_a_pool(campaign: Path, results: Path, tmp_path: Path) -> None:
    with Local(2, worth_a_pool=0) as local:
        fleet.run(campaign, tmp_path / "out", executor=local)
    assert partitions(tmp_path / "out") == partitions(results)


def test_many_small_batches_are_worth_the_cores(tmp_path: Path) -> None:
    """No batch of short recordings is worth starting processes for; all of them together are."""
    files = [tmp_path / f"{k:04d}.gpx" for k in range(1000)]
    for file in files:
        file.write_bytes(b" " * 101 * executors.BYTES_PER_FIX)
    few = files[:50]
    assert not fleet.this_machine(few).is_much((path,) for path in few)
    assert fleet.this_machine(files).is_much((path,) for path in few)


def test_finished_results_stand_until_something_changes(one_day: Path, tmp_path: Path) -> None:
    folder, out = tmp_path / "demo", tmp_path / "out"
    shutil.copytree(one_day, folder)
    told: list[str] = []

    def run() -> fleet.Fleet:
        told.clear()
        return fleet.run(folder, out, executor=Local(1), on_progress=lambda what, *_: told.append(what))

    first = run()
    assert "sorting recordings" in told
    assert run() == first
    assert "sorting recordings" not in told
    next(folder.rglob("*-09-out.gpx")).unlink()
    assert run().recordings == first.recordings - 1
    assert len(tracks(out)) == first.recordings - 1


def test_stopped_at_the_first_file_that_is_written(
    campaign: Path, results: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk, or killed there: what is left is no folder of somebody else."""
    out, write_text = tmp_path / "out", fleet.safe_files.write_text

    def killed(path: Path, _: str) -> None:
        path.with_name(f".{path.name}.x1y2").write_bytes(b"{")
        raise OutputError(f"{path}: cannot be written: No space left on device")

    monkeypatch.setattr(fleet.safe_files, "write_text", killed)
    with pytest.raises(OutputError, match="No space left"):
        fleet.run(campaign, out, executor=Local(1))
    monkeypatch.setattr(fleet.safe_files, "write_text", write_text)
    fleet.run(campaign, out, executor=Local(1))
    assert partitions(out) == partitions(results)
    assert not (out / fleet.WORK).exists()


def test_a_folder_of_somebody_else_is_left_alone(campaign: Path, tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    with pytest.raises(OutputError, match="did not write"):
        fleet.run(campaign, tmp_path, executor=Local(1))
    assert (tmp_path / "letter.txt").read_text() == "mine"


def as_parquet(folder: Path, out: Path, *, geometry: bool, files: int = 3) -> None:
    """Write the fixes of a campaign as Parquet, whole recordings in each file."""
    import geopandas
    import shapely

    traces = read_folder(folder).traces
    out.mkdir()
    for k in range(files):
        rows = pd.concat(
            pd.DataFrame(
                {"recording": t.file, "device": t.device, "time": t.time, "lon_deg": t.lon_deg, "lat_deg": t.lat_deg}
            )
            for t in traces[k::files]
        )
        if geometry:
            points = shapely.points(rows[["lon_deg", "lat_deg"]].to_numpy())
            rows = geopandas.GeoDataFrame(rows.drop(columns=["lon_deg", "lat_deg"]), geometry=points, crs="EPSG:4326")
        rows.to_parquet(out / f"{k}.parquet", index=False)


@pytest.mark.parametrize("geometry", [True, False])
def test_parquet_is_the_same_fleet(campaign: Path, results: Path, tmp_path: Path, geometry: bool) -> None:
    as_parquet(campaign, tmp_path / "fixes", geometry=geometry)
    fleet.run(tmp_path / "fixes", tmp_path / "out", executor=Local(1))
    found, expected = tracks(tmp_path / "out"), tracks(results)
    both = found.merge(expected, on="file", suffixes=("", "_gpx"))
    assert len(both) >= 15
    assert (both["device"] == both["device_gpx"]).all()
    scored = both["status"] == both["status_gpx"]
    assert scored.all()
    assert np.allclose(both["length_m"], both["length_m_gpx"], equal_nan=True)


def spoil(path: Path, how: Callable[[pd.DataFrame], pd.DataFrame]) -> None:
    how(pd.read_parquet(path)).to_parquet(path, index=False)


@pytest.mark.parametrize(
    ("how", "says"),
    [
        (lambda rows: rows.drop(columns="recording"), "expected columns recording"),
        (lambda rows: rows.drop(columns="lat_deg"), "expected columns recording"),
        (None, "a Parquet file"),
    ],
)
def test_bad_parquet_is_one_plain_line(one_day: Path, tmp_path: Path, how: Any, says: str) -> None:
    as_parquet(one_day, tmp_path / "fixes", geometry=False)
    bad = tmp_path / "fixes" / "1.parquet"
    spoil(bad, how) if how else bad.write_bytes(b"PAR1 no more")
    found = fleet.run(tmp_path / "fixes", tmp_path / "out", executor=Local(1))
    assert found.unreadable == 1
    told = json.loads((tmp_path / "out" / fleet.TOLD).read_text())["unreadable"]
    assert says in told[0][2]
    assert "\n" not in told[0][2]


def test_memory_holds_a_few_shapes_of_each_route(campaign: Path) -> None:
    """However many recordings pass through, only those that stand for a route stay."""
    from gpsq.campaign import campaign_file as campaigns
    from gpsq.rides.routes import MOST_STANDING_FOR, Shape

    told = campaigns.load(campaign)
    sorter = fleet_routes._Sorter(told)
    shapes = [Shape(t, told.settings) for t in read_folder(campaign).traces if t.accepted > 1]
    for k in range(5 * len(shapes)):
        sorter.add((f"{k}", f"{k}", 1), shapes[k % len(shapes)])
    assert sum(len(p) for p in sorter.parts().values()) == 5 * len(shapes)
    assert len(sorter.shapes) <= MOST_STANDING_FOR * len(sorter.parts())


def test_two_tracks_of_one_file_on_two_roads_are_each_in_the_part_of_their_road(tmp_path: Path) -> None:
    """Both parts are read from the one document; a track that another part has is in none beside it."""

    def track(lat_deg: float) -> str:
        fixes = "".join(
            f'<trkpt lat="{lat_deg}" lon="{-3.6 + i * 7e-5:.6f}"><time>2024-05-14T07:{i // 60:02d}:{i % 60:02d}Z</time></trkpt>'
            for i in range(120)
        )
        return f"<trk><trkseg>{fixes}</trkseg></trk>"

    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "both.gpx").write_text(f"<gpx>{track(51.2)}{track(51.9)}</gpx>")
    fleet.run(tmp_path / "in", tmp_path / "out", executor=Local(1))
    parts = sorted((tmp_path / "out" / "tracks").rglob("part.parquet"))
    assert [pd.read_parquet(path)["track"].tolist() for path in parts] == [[1], [2]]


def test_nothing_to_do_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(NothingToAnalyse):
        fleet.run(tmp_path, tmp_path / "out", executor=Local(1))
    with pytest.raises(SystemExit) as ended:
        cli.main(["fleet", str(tmp_path / "nowhere"), "--out", str(tmp_path / "out")])
    assert ended.value.code == 2
    assert "nothing of that name" in capsys.readouterr().err


def test_the_command(campaign: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(["fleet", str(campaign), "--out", str(tmp_path / "out"), "--quiet"])
    assert ended.value.code == 1, "one recording cannot be read"
    assert "18 recordings on 2 routes" in capsys.readouterr().out


def test_the_coordinate_system_is_written_in_full(results: Path) -> None:
    """Looked up by its code it would name the realisations of WGS 84 in one process and not in another."""
    import pyarrow.parquet as parquet

    path = next(iter(sorted((results / "stations").rglob("*.parquet"))))
    said = json.loads(parquet.read_schema(path).metadata[b"geo"])["columns"]["geometry"]["crs"]
    assert said["id"] == {"authority": "EPSG", "code": 4326}
    assert "datum_ensemble" not in said


# what is left out, and what a table of fixes may hold beside fixes


def fixes(name: str = "r1", **columns: Any) -> dict[str, Any]:
    """Return the columns of one recording of a hundred fixes on an invented road in open sea."""
    k = np.arange(100)
    time = np.datetime64("2024-05-06T07:00:00", "ms") + 1000 * k
    made = {
        "recording": [name] * 100,
        "time": time,
        "lon_deg": -28.0 + 7e-5 * k,
        "lat_deg": 40.0 + 1e-3 * np.sin(k / 20),
    }
    return made | columns


def put_parquet(path: Path, columns: dict[str, Any]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as parquet

    path.parent.mkdir(exist_ok=True)
    parquet.write_table(pa.table({k: v for k, v in columns.items() if v is not None}), path)


def told(out: Path) -> list[str]:
    return [line for _, _, line in json.loads((out / fleet.TOLD).read_text())["unreadable"]]


def test_what_is_left_out_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Files beside Parquet, links to nothing, rows of a log that mean none: a line each, also when the run is asked for again."""
    source = tmp_path / "in"
    put_parquet(source / "a.parquet", fixes())
    for k in range(8):
        (source / f"{k}.gpx").write_text("<gpx/>")
    (source / "z.parquet").symlink_to(tmp_path / "nowhere")
    (source / "rides.csv").write_text(
        "file,started\ngone.gpx,2024-05-06 07:00:00 Z\n,2024-05-06 07:00:00 Z\nr1,at noon\n"
    )
    for _ in range(2):
        with pytest.raises(SystemExit) as ended:
            cli.main(["fleet", str(source), "--out", str(tmp_path / "out")])
        assert ended.value.code == cli.PARTLY
        said = capsys.readouterr().err
        assert (
            "Where there are Parquet files (1 here) they alone are taken, so 0.gpx, 1.gpx, 2.gpx, 3.gpx, 4.gpx, 5.gpx and 2 "
            "more (8 named .gpx) was left out: put recordings of the other kind into a folder of their own" in said
        )
        assert "rides.csv: found 'gone.gpx'" in said
        assert "rides.csv: 1 row names no file, and of a fleet such rows are not used." in said
        assert "'at noon' as started" in said
        assert told(tmp_path / "out") == ["z.parquet: found a link to nothing; expected a readable file"]


def test_a_recording_in_two_files_is_told_and_counts_once(tmp_path: Path) -> None:
    put_parquet(tmp_path / "in" / "a.parquet", fixes())
    both = {k: [*fixes()[k], *fixes("r2")[k]] for k in fixes()}
    put_parquet(tmp_path / "in" / "b.parquet", both)
    found = fleet.run(tmp_path / "in", tmp_path / "out", executor=Local(1))
    assert (found.recordings, found.unreadable) == (2, 1)
    assert tracks(tmp_path / "out")["file"].tolist() == ["r1", "r2"]
    assert told(tmp_path / "out") == [
        "b.parquet: found recording r1, which a.parquet has too; expected each whole in one file"
    ]


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ({"recording": [b"\xff\xfe"] * 100}, "a column recording of binary, not all of it texts; expected texts"),
        ({"recording": [["r"]] * 100}, "a column recording of list<"),
        ({"time": list(range(100))}, "a column time of int64; expected timestamps in UTC"),
        ({"lon_deg": ["east"] * 100}, "a column lon_deg of string, not all of it numbers; expected numbers"),
        ({"ele_m": ["high"] * 100}, "a column ele_m of string, not all of it numbers"),
        ({"segment": [[1]] * 100}, "a column segment of list<"),
        ({"lon_deg": None, "geometry": list(range(100))}, "a column geometry of int64, not all of it points in WKB"),
        ({"lon_deg": None, "geometry": [b"no point"] * 100}, "no usable position (100 unparseable"),
        ({"lon_deg": [np.inf] * 100}, "no usable position"),
        ({"recording": [None] * 100}, "100 rows without a recording's name; expected one in each"),
        ({name: [] for name in fixes()}, "0 rows; expected at least one"),
    ],
)
def test_columns_of_another_kind_are_one_plain_line(tmp_path: Path, columns: dict[str, Any], says: str) -> None:
    put_parquet(tmp_path / "bad.parquet", fixes() | columns)
    (bad,) = read_parquet(tmp_path / "bad.parquet", "bad.parquet", settings=Settings())
    assert isinstance(bad, Unreadable)
    assert says in bad.message


def test_odd_values_in_good_columns_lose_nothing_else(tmp_path: Path) -> None:
    """Times as text, one of them none; far segments; names of any signs; a row without a name."""
    texts = [*(f"2024-05-06 07:00:{k:02d}" for k in range(60)), *["soon"] * 40]
    put_parquet(tmp_path / "in" / "a.parquet", fixes("a\nb", time=texts, segment=[np.nan, *[1e300] * 99]))
    put_parquet(tmp_path / "in" / "b.parquet", fixes() | {"recording": [*["r"] * 99, None], "device": ["=1\x1b"] * 100})
    found = fleet.run(tmp_path / "in", tmp_path / "out", executor=Local(1))
    assert (found.recordings, found.unreadable) == (2, 1)
    rows = tracks(tmp_path / "out")
    assert rows["file"].tolist() == ["a\\nb", "r"]
    assert rows["points"].tolist() == [100, 99]


def test_metres_of_a_grid_are_no_degrees(tmp_path: Path) -> None:
    shapely, geopandas = pytest.importorskip("shapely"), pytest.importorskip("geopandas")
    points = shapely.points(np.column_stack([500_000.0 + np.arange(100), np.full(100, 5_000_000.0)]))
    rows = geopandas.GeoDataFrame({"recording": ["r"] * 100}, geometry=points, crs="EPSG:32633")
    (tmp_path / "in").mkdir()
    rows.to_parquet(tmp_path / "in" / "grid.parquet", index=False)
    with pytest.raises(NothingToAnalyse) as refused:
        fleet.run(tmp_path / "in", tmp_path / "out", executor=Local(1))
    assert refused.value.lines == (
        "grid.parquet: found coordinates in WGS 84 / UTM zone 33N; expected longitude and latitude on WGS 84",
    )


def test_a_small_file_of_very_many_rows_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from gpsq.reading import parquet

    put_parquet(tmp_path / "a.parquet", fixes())
    monkeypatch.setattr(parquet, "MOST_ROWS", 99)
    (bad,) = read_parquet(tmp_path / "a.parquet", "a.parquet", settings=Settings())
    assert isinstance(bad, Unreadable)
    assert "100 rows; expected at least one and at most 99" in bad.message
