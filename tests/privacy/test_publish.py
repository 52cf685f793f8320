"""`gpsq publish`: secret zones, neutral names, and files in which nothing private is left."""

from __future__ import annotations

import dataclasses
import hashlib
import html
import json
import re
import sqlite3
import stat
from pathlib import Path

import geopandas
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq import cli
from gpsq.campaign import flags
from gpsq.exceptions import CampaignError
from gpsq.model import CrossTrack, FirstFix, SetAside, Spike, Unreadable
from gpsq.output.tables import tables
from gpsq.pipeline.analysis import analyse
from gpsq.pipeline.publish import publish
from gpsq.pipeline.stages import analyse_traces
from gpsq.plane import Plane, geodesic_inverse_m
from gpsq.privacy import Zone, figures, neutral, publication, secret, shown, zones
from gpsq.privacy.ends import zones_for
from gpsq.privacy.zones import MISS_M, Hidden, covers, drawn, inside
from gpsq.results import Analysis
from gpsq.settings import Settings
from gpsq.simulate import Campaign, CampaignSpec, DeviceSpec, make_campaign, write
from gpsq.summaries.devices import deviation_counts
from gpsq.summary_types import DeviceSummary, Interval

HERE = Plane(10.0, 50.0)
#: Columns of devices.csv that are bounds of lengths.
BOUNDS_OF_LENGTHS = tuple(
    f"{name.removesuffix('_m')}_{end}_m" for name in (*figures.LENGTHS, "repeatability_m") for end in ("low", "high")
)
SERIAL = "XK-40917733"
CLOCK_TIME = re.compile(r"(?<![\d:.])(?:[01]\d|2[0-3]):[0-5]\d(?![\d:]?\d)|T\d\d:\d\d|\d\d:\d\d:\d\d")


def degrees(xy_m: list[list[float]]) -> np.ndarray:
    return np.column_stack(HERE.to_degrees(np.array(xy_m, float)))


def bent_line() -> np.ndarray:
    """A line that turns by 90° after 300 m and again after 700 m more."""
    first, second = [[0, y] for y in range(0, 300, 5)], [[x, 300] for x in range(0, 700, 5)]
    return degrees(first + second + [[700, y] for y in range(300, 4000, 5)])


def straight_line() -> np.ndarray:
    return degrees([[x, 0] for x in range(0, 8000, 5)])


# ---- zones ----


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32))
def test_a_zone_holds_the_end_deep_inside_and_off_its_centre(seed: int) -> None:
    hidden = Hidden(degrees([[0, 0], [30, -20]]), (bent_line(),))
    zone, miss_m = drawn(hidden, np.random.default_rng(seed))
    assert inside([zone], hidden.lon_lat_deg, -zones.DEPTH_M + 1.0).all()
    assert covers(zone, hidden)
    centre = geodesic_inverse_m(np.array([zone.lon_deg]), np.array([zone.lat_deg]), np.array([10.0]), np.array([50.0]))
    assert centre[0] >= 200.0
    assert miss_m >= MISS_M


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.floats(20.0, 2000.0))
def test_a_private_place_is_hidden_whole(seed: int, radius_m: float) -> None:
    through = degrees([[x, 0] for x in range(-4000, 4000, 5)])
    hidden = Hidden(degrees([[0, 0]]), (through,), radius_m)
    zone, miss_m = drawn(hidden, np.random.default_rng(seed))
    assert miss_m >= MISS_M
    rim = degrees([[radius_m * np.cos(a), radius_m * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 36)])
    assert inside([zone], rim).all()
    assert covers(zone, hidden)


def test_a_straight_road_is_admitted_to_be_guessable() -> None:
    _, miss_m = drawn(Hidden(degrees([[0, 0]]), (straight_line(),)), np.random.default_rng(1))
    assert miss_m < 100.0


def test_zones_differ_from_draw_to_draw() -> None:
    hidden = Hidden(degrees([[0, 0]]), (bent_line(),))
    found = [drawn(hidden, np.random.default_rng(seed))[0] for seed in range(30)]
    shifts = HERE.to_metres(np.array([z.lon_deg for z in found]), np.array([z.lat_deg for z in found]))
    assert np.std([z.radius_m for z in found]) > 40.0
    assert np.ptp(np.arctan2(shifts[:, 1], shifts[:, 0])) > np.pi


# ---- the secret file ----


def test_zones_are_kept_for_the_owner_alone(tmp_path: Path) -> None:
    kept = (Zone(50.123456, -0.5, 612.5), Zone(-33.0, 151.25, 1000.0))
    secret.save(tmp_path, kept)
    assert secret.load(tmp_path) == kept
    assert stat.S_IMODE((tmp_path / secret.NAME).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    "text",
    [
        "[[zone]]\nlat = 50",
        "zone = 3",
        "[[zone]]\nlat = 95\nlon = 1\nradius_m = 500",
        "nonsense",
        "[[zone]]\nlat = 1\nlon = 1\nradius_m = true",
        "other = 1",
    ],
)
def test_a_damaged_secret_is_refused_rather_than_drawn_again(tmp_path: Path, text: str) -> None:
    (tmp_path / secret.NAME).write_text(text)
    with pytest.raises(CampaignError, match=r"^\.gpsq-private\.toml: found .*; expected "):
        secret.load(tmp_path)


def test_a_secret_that_cannot_be_read_is_no_secret_that_there_is_none(tmp_path: Path) -> None:
    (tmp_path / secret.NAME).write_bytes(b"\xff")
    with pytest.raises(CampaignError, match=r"found a file that cannot be read .*expected the zones of earlier"):
        secret.load(tmp_path)
    (tmp_path / secret.NAME).unlink()
    (tmp_path / secret.NAME).mkdir()
    with pytest.raises(CampaignError, match=r"found a file that cannot be read .*expected the zones of earlier"):
        secret.load(tmp_path)


def test_zones_lie_anywhere_on_the_globe_and_no_further(tmp_path: Path) -> None:
    assert secret.load(tmp_path) == ()
    edges = (Zone(-90.0, -180.0, 1.0), Zone(90.0, 180.0, 1e6))
    secret.save(tmp_path, edges)
    assert secret.load(tmp_path) == edges
    for beyond in (
        Zone(-90.5, 0.0, 9.0), Zone(90.5, 0.0, 9.0), Zone(0.0, -180.5, 9.0), Zone(0.0, 180.5, 9.0), Zone(0.0, 0.0, 0.5),
        Zone(0.0, 0.0, 1e6 + 1), Zone(float("nan"), 0.0, 9.0), Zone(0.0, 0.0, float("inf")),
    ):  # fmt: skip
        secret.save(tmp_path, (beyond,))
        with pytest.raises(CampaignError, match="expected a number between"):
            secret.load(tmp_path)


# ---- names and figures ----


@pytest.mark.parametrize(
    ("name", "serial"),
    [
        ("bar-unit", False),
        (SERIAL, True),
        ("unit 12345", True),
        ("amber 2", False),
        ("A1B2C3D4", True),
        ("No 300", False),
    ],
)
def test_serial_numbers_are_seen(name: str, serial: bool) -> None:
    assert bool(neutral.SERIAL.search(name)) is serial


def test_figures_that_hold_the_length_of_the_route_are_withheld(campaign_analysis: Analysis) -> None:
    """3 recordings fixed, 2 did not: the middle value is published; the upper bound is the length of the route."""
    missed = zip(campaign_analysis.results[:3], (10.0, 40.0, 90.0), strict=True)
    results = tuple(dataclasses.replace(r, route="A", first_fix=FirstFix("log", missed_m=m)) for r, m in missed)
    analysis = dataclasses.replace(campaign_analysis, traces=campaign_analysis.traces[:3], results=results)
    device = analysis.traces[0].device
    shown = {"missed_median_m": Interval(90.0, 10.0, 7012.3, "m"), "missed_share_median": Interval(0.0128)}
    found = figures.devices(analysis, [DeviceSummary(device, "A", 5, shown)], ())[0].figures
    assert found["missed_median_m"].value == 90.0
    assert found["missed_median_m"].low == 10.0
    assert np.isnan(found["missed_median_m"].high)
    assert "missed_share_median" not in found
    half = DeviceSummary(device, "A", 4, {"missed_median_m": Interval((90.0 + 7012.3) / 2)})
    assert np.isnan(figures.devices(analysis, [half], ())[0].figures["missed_median_m"].value)


def test_a_ride_without_a_fix_does_not_tell_how_long_it_was() -> None:
    fix = figures.first_fix(FirstFix("log", at_least_s=1499.0, censored=True, missed_m=7012.3, missed_share=1.0))
    assert fix.at_least_s == 60.0
    assert np.isnan(fix.missed_m)
    assert np.isnan(fix.missed_share)


def test_the_hours_that_the_rider_is_away_are_not_told() -> None:
    assert np.isnan(figures.first_fix(FirstFix("log", hours_since_fix=9.37, start_state="warm")).hours_since_fix)
    assert figures.first_fix(FirstFix("log", hours_since_fix=9.37, start_state="warm")).start_state == "warm"


def test_a_figure_that_nobody_thought_of_is_withheld() -> None:
    @dataclasses.dataclass(frozen=True)
    class Later(FirstFix):
        whole_m: float = np.nan
        said: str = ""

    found = figures.first_fix(Later("log", seconds=3.0, whole_m=7012.3, said="7012 m"))
    assert (found.seconds, found.said) == (3.0, "")  # type: ignore[attr-defined]
    assert np.isnan(found.whole_m)  # type: ignore[attr-defined]
    device = DeviceSummary("bar", "A", 5, {"whole_m": Interval(7012.3), "ttff_median_s": Interval(3.0)})
    nobody = Analysis("", "", Settings(), (), (), (), (), (), (), {})
    (shown_of_it,) = figures.devices(nobody, [device], ())
    assert set(shown_of_it.figures) == {"ttff_median_s", "spikes", *deviation_counts.figures([], 0.95)}


@pytest.mark.parametrize("stations", [99, 100])
def test_shares_of_few_stations_are_withheld(stations: int) -> None:
    """From a hundred stations on, every share in whole per cent is k/n for every n, so it says nothing of n."""
    flat, ones = np.ones(stations), np.ones(stations, dtype=bool)
    whole = CrossTrack(flat, flat, ones, 1.234, 1.234, 1.234, 2.345, 31 / stations, 77 / stations, 5.0 * stations)
    found = figures.crosstrack(whole, None)
    assert found is not None
    assert (found.rms_m, found.p95_m) == (1.2, 2.3)
    assert np.isnan(found.within_5m) if stations < 100 else found.within_5m == 0.31
    assert all(any(round(round(share * n) / n, 2) == share for share in (0.31, 0.07, 0.5)) for n in range(100, 1000))


def test_points_do_not_tell_how_long_a_ride_without_a_fix_was(campaign_analysis: Analysis) -> None:
    """A recording that never fixed writes a point for every second of its ride."""
    first = campaign_analysis.traces[0]
    lost = dataclasses.replace(
        first,
        **{n: getattr(first, n)[:0] for n in ("time", "lon_deg", "lat_deg", "ele_m", "hdop", "sat", "speed_mps")},
        **{n: getattr(first, n)[:0] for n in ("segment", "point")},
        set_aside=(SetAside("no_fix", 1499, 0),), points=1499, file="bar-unit/lost.gpx", sha256="0" * 64,
    )  # fmt: skip
    result = dataclasses.replace(
        campaign_analysis.results[0], trace=len(campaign_analysis.traces), crosstrack=None, curves=None, deviations=(),
        first_fix=FirstFix("log", at_least_s=1499.0, censored=True),
    )  # fmt: skip
    unread = Unreadable(
        "x.gpx", 1, "no_usable_points", "x.gpx: found 1499 no fix", points=1499, set_aside=lost.set_aside
    )
    analysis = dataclasses.replace(
        campaign_analysis, traces=(*campaign_analysis.traces, lost), results=(*campaign_analysis.results, result),
        unreadable=(unread,),
    )  # fmt: skip
    found = publication(analysis, ()).analysis
    assert found.traces[-1].points == 0
    assert found.traces[-1].set_aside == found.unreadable[0].set_aside == ()
    assert "1499" not in tables.csv_text(tables.tracks(found)) + tables.csv_text(tables.set_aside(found))


# ---- a whole publication ----


def spec(length_m: float = 6500.0, days: int = 3) -> CampaignSpec:
    bar = DeviceSpec("bar-unit", 2.0, interval_s=5, shows_start="no-fix points", quality=True)
    pocket = DeviceSpec("pocket-unit", 3.0, interval_s=5, shows_start="log", start_mix=(0.5, 0.5, 0.0))
    return CampaignSpec("Errands", 10.0, 50.0, (bar, pocket), days=days, length_m=length_m, late_starts=2, unlogged=0)


@dataclasses.dataclass(frozen=True, eq=False)
class Published:
    campaign: Campaign
    folder: Path
    out: Path
    analysis: Analysis
    zones: tuple[Zone, ...]
    place_deg: np.ndarray


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """A campaign with everything private in it: a place on the way, notes, names, serial numbers, a broken file."""
    folder = tmp_path_factory.mktemp("Jane Doe 2025-03-03")
    campaign = make_campaign(spec(), 5)
    write(campaign, folder)
    for path in folder.glob("*/*.gpx"):
        text = path.read_text("utf-8")
        text = re.sub(r'creator="[^"]*"', f'creator="{SERIAL}"', text)
        path.write_text(text.replace("<trkseg>", "<cmt>from Jane Doe's door</cmt><trkseg>", 1), "utf-8")
    (folder / "bar-unit" / "2025-03-09 to Jane.gpx").write_text("<html>no recording</html>")
    first = (folder / campaign.recordings[1].file).read_text("utf-8")
    (folder / "pocket-unit" / "2025-03-03 Jane again.gpx").write_text(first.replace("</gpx>", " </gpx>"), "utf-8")
    road = campaign.town.roads["out"]
    line = np.column_stack(campaign.plane.to_degrees(road[::10])).tolist()
    (folder / "Jane.geojson").write_text(json.dumps({"type": "LineString", "coordinates": line}))
    place = np.array([value[0] for value in campaign.plane.to_degrees(road[len(road) * 3 // 10][None, :])])
    with (folder / "campaign.toml").open("a") as file:
        file.write('[reference]\nA = "Jane.geojson"\n')
        file.write(f"[[private_place]]\nlat = {place[1]}\nlon = {place[0]}\nradius_m = 60\n")
    out = folder / "for-all"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("secrets.randbits", lambda bits: 20_260_504)  # the same cuts in every run of the tests
        with pytest.raises(SystemExit) as status:
            cli.main(["publish", str(folder), "--out", str(out), "--quiet"])
    assert status.value.code == cli.PARTLY  # the broken file
    return Published(campaign, folder, out, analyse(folder), secret.load(folder), place)


@pytest.fixture(scope="module")
def campaign_analysis(published: Published) -> Analysis:
    return published.analysis


def private_deg(published: Published) -> np.ndarray:
    """The true ends of all roads, and the private place."""
    plane = published.campaign.plane
    roads = published.campaign.town.roads.values()
    return np.vstack([*(np.column_stack(plane.to_degrees(road[[0, -1]])) for road in roads), published.place_deg])


def pairs_in(text: str) -> np.ndarray:
    """All neighbouring numbers of a text that may be a position near the campaign, as longitude and latitude."""
    numbers = np.array([float(n) for n in re.findall(r"-?\d+\.\d{3,}", text)])
    both = np.column_stack([numbers[:-1], numbers[1:]]) if len(numbers) > 1 else np.empty((0, 2))
    near = [np.abs(order - [10.0, 50.0]).max(axis=1) < 0.5 for order in (both, both[:, ::-1])]
    return np.vstack([both[near[0]], both[:, ::-1][near[1]]])


def map_positions(text: str) -> np.ndarray:
    """All positions that the map's data hold: lists of millionths of a degree, each the step from the one before."""
    data = json.loads(re.search(r'<script type="application/json" id="gpsq-data">(.*?)</script>', text, re.S)[1])
    found: list[np.ndarray] = []

    def walk(value: object) -> None:
        if isinstance(value, dict):
            [walk(v) for v in value.values()]
        elif isinstance(value, list):
            if len(value) >= 2 and all(isinstance(v, int) for v in value) and abs(value[0]) > 1_000_000:
                found.append(np.cumsum(np.array(value).reshape(-1, 2), axis=0)[:, ::-1] / 1e6)
            else:
                [walk(v) for v in value]

    walk(data)
    return np.vstack(found)


def gpkg_positions(path: Path) -> np.ndarray:
    """All vertices of all layers, and the corners of all boxes kept in the file's own tables."""
    found = []
    for layer, _ in pyogrio.list_layers(path):
        frame = geopandas.read_file(path, layer=layer)
        if "geometry" in frame:
            found.append(shapely.get_coordinates(frame.geometry.dropna().to_numpy()))
    return np.vstack(found)


def all_positions(published: Published) -> dict[str, np.ndarray]:
    found = {"gpkg": gpkg_positions(published.out / "results.gpkg")}
    for path in published.out.rglob("*"):
        if path.suffix in {".csv", ".json", ".geojson", ".gpx", ".html", ".svg", ".qml"}:
            found[path.name] = pairs_in(path.read_text("utf-8"))
    tracks = gpxpy.parse((published.out / "centrelines.gpx").read_text("utf-8")).get_points_data()
    found["centrelines.gpx"] = np.array([(p.point.longitude, p.point.latitude) for p in tracks])
    found["map"] = map_positions((published.out / "map.html").read_text("utf-8"))
    return found


def test_the_picture_of_errors_says_what_is_of_the_whole(published: Published) -> None:
    """Its marks are the table's figures, of all that was recorded; its curves end where the ends are cut."""
    for shape in ("", "-square"):
        drawn = (published.out / "figures" / f"error-distribution{shape}.svg").read_text("utf-8")
        words = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", drawn))
        assert "Marks: of the whole road; curves: of the part shown." in words


def test_no_position_lies_within_a_cut(published: Published) -> None:
    found = all_positions(published)
    assert {name for name, places in found.items() if len(places) > 100} >= {"gpkg", "map", "centrelines.geojson"}
    assert len(found["centrelines.gpx"]) > 20
    for name, places in found.items():
        assert not inside(published.zones, places).any(), name
        for place in private_deg(published):
            away = geodesic_inverse_m(*places.T, *np.broadcast_to(place, places.shape).T)
            assert len(away) == 0 or away.min() > 100.0, name


def test_boxes_in_the_geopackage_are_those_of_what_is_shown(published: Published) -> None:
    drawn_m = gpkg_positions(published.out / "results.gpkg")
    with sqlite3.connect(published.out / "results.gpkg") as base:
        boxes = base.execute("SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE min_x IS NOT NULL").fetchall()
        names = "SELECT name FROM sqlite_master WHERE name LIKE 'rtree_%_geom' AND sql LIKE 'CREATE VIRTUAL%'"
        for (tree,) in base.execute(names).fetchall():
            query = f'SELECT minx, miny, maxx, maxy FROM "{tree}"'  # noqa: S608 - names from the file itself
            boxes += base.execute(query).fetchall()
    base.close()
    assert len(boxes) > 20
    low, high = drawn_m.min(axis=0) - 1e-5, drawn_m.max(axis=0) + 1e-5  # an R-tree holds single precision
    assert all(low[0] <= b[0] and low[1] <= b[1] and b[2] <= high[0] and b[3] <= high[1] for b in boxes)


def test_no_hash_name_or_note_survives_in_any_file(published: Published) -> None:
    inputs = [path for path in published.folder.rglob("*") if path.is_file() and published.out not in path.parents]
    hashes = [hashlib.sha256(path.read_bytes()).hexdigest() for path in inputs]
    rides = {ride.label for ride in published.campaign.rides}
    names = [
        published.folder.name,
        str(published.folder),
        "Jane",
        SERIAL,
        "40917733",
        ".gpx",
        "rides.csv",
        "begun late",
    ]
    words = [*hashes, *(d.id for d in published.analysis.deviations), *rides, *names]
    assert len(words) > 30
    for path in (path for path in published.out.rglob("*") if path.is_file()):
        content = path.read_bytes().replace(b"centrelines.gpx", b"")
        survived = [word for word in words if word.encode() in content or html.escape(word).encode() in content]
        assert not survived, path.name


def test_no_clock_time_survives(published: Published) -> None:
    """Times are days. The GeoPackage standard (OGC 12-128r19, table 1) demands a full time of change: midnight."""
    for path in (path for path in published.out.rglob("*") if path.is_file() and path.suffix != ".png"):
        text = path.read_bytes().decode("utf-8", "replace").replace("T00:00:00.000Z", "")
        if path.suffix == ".html":  # the page's own code is no result
            text = re.sub(r"<style.*?</style>|<script>.*?</script>", "", text, flags=re.S)
        assert not CLOCK_TIME.findall(text), path.name
    started = pd.read_csv(published.out / "tracks.csv")["started"].dropna()
    assert len(started) > 6
    assert started.str.fullmatch(r"\d{4}-\d\d-\d\d").all()


def test_figures_of_devices_and_starts_are_those_of_the_whole(published: Published) -> None:
    whole = tables.devices(published.analysis)
    shown = pd.read_csv(published.out / "devices.csv", keep_default_na=False, na_values=[""])
    assert len(whole) > 3
    for name in whole.columns:
        if name.removesuffix("_low").removesuffix("_high") in (*deviation_counts.figures([], 0.95), "spikes"):
            assert (
                not (shown[name].astype(float) > whole[name].astype(float)).any()
                or "per_100km" in name
                or "recordings" in name
            )
        elif name == "missed_share_median":  # withheld: with the metres missed it would tell the length of the route
            assert shown[name].isna().all()
        elif whole[name].dtype.kind in "fiu":
            lengths, ratios = name in figures.LENGTHS + BOUNDS_OF_LENGTHS, name in figures.RATIOS
            far = 0.055 if lengths else 5.1e-4 if ratios else 0.0
            assert np.allclose(
                whole[name].astype(float), shown[name].astype(float), atol=far + 1e-9, rtol=0, equal_nan=True
            ), name
    tracks, mine = tables.tracks(published.analysis), pd.read_csv(published.out / "tracks.csv")
    for name in ("ttff_s", "missed_m", "settle_s"):
        assert np.array_equal(tracks[name].astype(float), mine[name].astype(float), equal_nan=True), name
    for name in ("missed_share", "coverage", "sha256", "name", "hours_since_fix"):
        assert mine[name].isna().all(), name
    assert (mine["length_m"].dropna() < tracks.loc[mine["length_m"].dropna().index, "length_m"]).all()


def test_errors_of_recordings_are_those_of_the_part_that_anyone_can_measure(published: Published) -> None:
    """An error of the whole beside that of the part would weigh the hidden road, recording by recording."""
    found = publication(published.analysis, published.zones).analysis
    mine, own = pd.read_csv(published.out / "tracks.csv"), shown.shown_fixes(published.analysis, published.zones)
    cut = {i: shown.cut(published.analysis.traces[i], fixes) for i, fixes in own.items()}
    rides = {result.ride: result.ride for result in published.analysis.results}
    measured = shown.analysed(published.analysis, cut, rides)[1]
    assert len(measured) > 8
    for i, of_part in measured.items():
        errors, curves = of_part.crosstrack, of_part.curves
        if errors is None or curves is None:
            continue
        row = mine.iloc[i]
        for name in ("bias_m", "rms_m", "median_m", "p68_m", "p95_m"):
            assert row[f"xte_{name}"] == pytest.approx(getattr(errors, name), abs=0.0501)
        offset = np.abs(found.results[i].crosstrack.offset_m[errors.scored])  # type: ignore[union-attr]
        assert row["xte_rms_m"] == pytest.approx(np.sqrt(np.mean(offset**2)), abs=0.06)
        assert row["within_5m"] == pytest.approx(np.mean(offset <= 5.0), abs=0.0051)
        assert row["hausdorff_m"] == pytest.approx(curves.hausdorff_m, abs=0.0501)
        assert row["frechet_m"] == pytest.approx(curves.frechet_m, abs=0.0501)
        assert row["length_ratio"] == pytest.approx(curves.length_ratio, abs=5.1e-4)
    whole = tables.tracks(published.analysis)
    assert (whole["xte_rms_m"] - mine["xte_rms_m"]).abs().max() > 0.06
    assert (mine["within_5m"].dropna() * 100 % 1).round(9).isin((0.0, 1.0)).all()


def test_a_recording_of_which_nothing_is_shown_keeps_the_errors_of_the_whole(published: Published) -> None:
    wide = tuple(dataclasses.replace(zone, radius_m=4000.0) for zone in published.zones)
    for old, new in zip(
        published.analysis.results, publication(published.analysis, wide).analysis.results, strict=True
    ):
        if old.crosstrack and old.curves and new.crosstrack and new.curves:
            assert new.crosstrack.rms_m == pytest.approx(old.crosstrack.rms_m, abs=0.0501)
            assert new.curves.hausdorff_m == pytest.approx(old.curves.hausdorff_m, abs=0.0501)
            assert np.isnan(new.crosstrack.scored_m)


def test_points_set_aside_and_spikes_beyond_the_cuts_are_not_counted(published: Published) -> None:
    """Spikes come as often per kilometre within the cuts as beyond: both together would tell how long the hidden road is."""
    whole = published.analysis
    number = next(i for i, fixes in shown.shown_fixes(whole, published.zones).items() if len(fixes) > 50)
    trace = whole.traces[number]
    kept = trace.point[shown.shown_fixes(whole, published.zones)[number]]
    places = [int(trace.point[3]), int(kept[10]), int(kept[20]), int(trace.point[-2])]
    spikes = tuple(Spike(place, 1, metres) for place, metres in zip(places, (90.0, 40.0, 50.0, 80.0), strict=True))
    aside = (*trace.set_aside, *(SetAside("outlier_jump", 1, place + 1) for place in places))
    spiked = dataclasses.replace(trace, spikes=spikes, set_aside=aside, points=trace.points + 4)
    traces = tuple(spiked if i == number else t for i, t in enumerate(whole.traces))
    results = tuple(
        dataclasses.replace(r, spikes=4, largest_spike_m=90.0) if i == number else r
        for i, r in enumerate(whole.results)
    )
    found = publication(dataclasses.replace(whole, traces=traces, results=results), published.zones).analysis
    assert (found.results[number].spikes, found.results[number].largest_spike_m) == (2, 50.0)
    assert [g.first_point for g in found.traces[number].set_aside if g.reason == "outlier_jump"] == [11, 21]
    before = [g.points for g in trace.set_aside if g.first_point < trace.point[0]]
    assert [g.points for g in found.traces[number].set_aside if g.reason != "outlier_jump"] == before
    device = next(s for s in found.summaries.devices if s.device == trace.device and not s.route)
    assert device.figures["spikes"].value == 2.0


def test_twins_and_references_are_published_without_their_files(published: Published) -> None:
    tracks = pd.read_csv(published.out / "tracks.csv", keep_default_na=False)
    twins = tracks[tracks["reason"].str.startswith("the same recording as")]
    assert len(twins) == 1
    assert twins["reason"].str.fullmatch(r"the same recording as pocket-unit \d\d").all()
    reference = pd.read_csv(published.out / "reference.csv")
    assert len(reference) > 2
    assert set(reference["reference"]) == {"reference line"}
    assert reference["shared_m"].isna().all()  # how much of the whole route there is
    assert reference["trueness_m"].notna().any()


def test_the_middle_of_the_routes_is_still_there(published: Published) -> None:
    lines = json.loads((published.out / "centrelines.geojson").read_text())["features"]
    assert len(lines) == 2
    assert all(line["properties"]["length_m"] > 1000.0 for line in lines)
    report = (published.out / "report.html").read_text("utf-8")
    assert "This is a publication" in report
    assert "gpsq flag" not in report
    assert "Not for navigation or safety of life" in report


def test_a_second_publication_is_cut_at_the_same_places(published: Published, tmp_path: Path) -> None:
    kept = (published.folder / secret.NAME).read_bytes()
    publish(published.analysis, published.folder, tmp_path / "again")
    assert (published.folder / secret.NAME).read_bytes() == kept
    for path in (path for path in published.out.rglob("*") if path.is_file()):
        assert (tmp_path / "again" / path.relative_to(published.out)).read_bytes() == path.read_bytes(), path.name


def test_more_rides_add_no_new_cut(published: Published) -> None:
    """The same ends from other recordings are hidden by the zones there are."""
    again, _ = zones_for(published.analysis, (), published.zones, np.random.default_rng(0))
    assert again == published.zones


def test_routes_that_share_an_end_share_its_cut(published: Published) -> None:
    """Home, work and the private place: 3 zones for 2 routes with 4 ends."""
    assert len(published.zones) == 3


def test_a_foreign_folder_is_left_alone(
    published: Published, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(SystemExit) as status:
        cli.main(["publish", str(published.folder), "--out", str(tmp_path)])
    assert status.value.code == cli.NOTHING
    assert "found files that gpsq did not write" in capsys.readouterr().err
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_a_short_route_gives_figures_only(published: Published) -> None:
    """Zones that leave less than 500 m: no line, no track, no deviation; the figures stay."""
    wide = tuple(dataclasses.replace(zone, radius_m=4000.0) for zone in published.zones)
    found = publication(published.analysis, wide)
    assert all(route.centreline is None for route in found.analysis.routes)
    assert all(trace.accepted == 0 for trace in found.analysis.traces)
    assert not found.analysis.deviations
    assert len(tables.devices(found.analysis)) == len(tables.devices(published.analysis))
    assert [r for r in found.remarks if "too little of it is left between the cuts" in r]


def test_a_detour_through_a_zone_is_broken_there(published: Published) -> None:
    """A zone off the line takes out only the fixes of those who went there, and no line is drawn across it."""
    before = publication(published.analysis, published.zones[:2]).analysis
    detour = max(before.deviations, key=lambda found: found.peak_m)
    trace = before.traces[detour.trace]
    middle = (detour.from_point + detour.to_point) // 2
    zone = Zone(float(trace.lat_deg[middle]), float(trace.lon_deg[middle]), 20.0)
    after = publication(published.analysis, (*published.zones[:2], zone)).analysis.traces[detour.trace]
    where = np.column_stack([after.lon_deg, after.lat_deg])
    assert not inside([zone], where, zones.MARGIN_M).any()
    assert 0 < trace.accepted - after.accepted < 40
    assert after.segment.max() == trace.segment.max() + 1


def test_what_a_receiver_writes_besides_is_not_published(published: Published) -> None:
    whole = published.analysis
    heard = dict.fromkeys(("ele_m", "hdop", "sat", "speed_mps"), 7.0)
    full = tuple(
        dataclasses.replace(t, **{name: np.full(t.accepted, value) for name, value in heard.items()})
        for t in whole.traces
    )
    for trace in publication(dataclasses.replace(whole, traces=full), published.zones).analysis.traces:
        for name in ("ele_m", "hdop", "sat", "speed_mps"):
            assert np.isnan(getattr(trace, name)).all(), name


def test_a_note_on_a_deviation_is_not_published(published: Published) -> None:
    whole = published.analysis
    noted = flags.decided((), whole.deviations, whole.traces, "error", "at Jane's house")
    assert noted
    decided = analyse_traces(whole.traces, whole.settings, noted)
    assert any(d.note for d in decided.deviations)
    found = publication(dataclasses.replace(decided, summaries=whole.summaries), published.zones[:1]).analysis
    assert found.deviations
    assert "Jane" not in repr((found.deviations, found.flags, found.results, found.notes))


def test_a_logged_place_of_start_is_hidden(published: Published) -> None:
    """The logged start is the home itself, though every recording begins further on."""
    whole, name = published.analysis, published.analysis.routes[0].route.name
    number = published.analysis.routes[0].route.members[0]
    line = whole.routes[0].route.plane
    begins = whole.routes[0].centreline.xy_m  # type: ignore[union-attr]
    home = begins[0] + 150.0 * (begins[0] - begins[4]) / np.hypot(*(begins[0] - begins[4]))
    lon, lat = (float(value[0]) for value in line.to_degrees(home[None, :]))
    logged = dataclasses.replace(whole.traces[number], start_lon_deg=lon, start_lat_deg=lat)
    traces = tuple(logged if i == number else trace for i, trace in enumerate(whole.traces))
    for seed in range(2):
        found, _ = zones_for(dataclasses.replace(whole, traces=traces), (), (), np.random.default_rng(seed))
        assert any(inside([z], np.array([[lon, lat]]), -zones.DEPTH_M + 1.0).all() for z in found), name


def test_a_serial_number_that_names_a_folder_is_not_published(published: Published) -> None:
    trace = dataclasses.replace(published.analysis.traces[0], file="3982144007/x.gpx", device="3982144007", creator="m")
    assert neutral.device_names([trace], (), ()) == {"3982144007": "device 1"}


def test_a_ride_that_ended_early_is_moved_as_one_that_fixed_late(published: Published) -> None:
    """Shown to as far before the cut as it ended before the route's end: nothing tells how far the end is from there."""
    whole = published.analysis
    route = whole.routes[0]
    number = route.route.members[0]
    before = publication(whole, published.zones).analysis.traces[number]
    short = shown.cut(whole.traces[number], np.arange(whole.traces[number].accepted - 25))
    ended_m = float(
        geodesic_inverse_m(
            short.lon_deg[-1:], short.lat_deg[-1:], whole.traces[number].lon_deg[-1:], whole.traces[number].lat_deg[-1:]
        )[0]
    )
    traces = tuple(short if i == number else t for i, t in enumerate(whole.traces))
    xy_m = tuple(
        xy[: short.accepted] if i == number else xy for i, xy in zip(route.route.members, route.route.xy_m, strict=True)
    )
    cut_route = dataclasses.replace(route, route=dataclasses.replace(route.route, xy_m=xy_m))
    analysis = dataclasses.replace(whole, traces=traces, routes=(cut_route, *whole.routes[1:]))
    after = publication(analysis, published.zones).analysis.traces[number]
    moved_m = float(
        geodesic_inverse_m(before.lon_deg[-1:], before.lat_deg[-1:], after.lon_deg[-1:], after.lat_deg[-1:])[0]
    )
    assert ended_m > 300.0
    assert abs(moved_m - ended_m) < 0.3 * ended_m


def test_devices_named_by_their_files_get_neutral_names(published: Published) -> None:
    whole = published.analysis
    traces = tuple(dataclasses.replace(t, device=SERIAL) if t.device == "bar-unit" else t for t in whole.traces)
    found = publication(dataclasses.replace(whole, traces=traces), published.zones)
    assert {t.device for t in found.analysis.traces} == {"device 1", "pocket-unit"}
    assert SERIAL not in repr(found.analysis.summaries)
    assert any(SERIAL in remark for remark in found.remarks)


def test_every_published_column_has_its_reason(published: Published) -> None:
    """docs/publish.md says of each column what is published of it, and why it does not tell how much is hidden."""
    docs = (Path(__file__).parents[2] / "docs" / "publish.md").read_text("utf-8")
    table = docs[docs.index("| column | published |") :].split("\n\n")[0]
    argued = set(re.findall(r"`(\w+)`", "".join(row.split("|")[1] for row in table.splitlines())))
    for name in ("tracks", "deviations", "devices", "set_aside"):
        columns = set(pd.read_csv(published.out / f"{name}.csv").columns)
        stems = {re.sub(r"_(low|high)(?=_m$|_s$|$)", "", column) for column in columns - argued}
        assert not {stem for stem in stems if not {stem, stem.replace("_s", "_median_s")} & argued} - argued, name
    layers = {
        name: geopandas.read_file(published.out / "results.gpkg", layer=name)
        for name, _ in pyogrio.list_layers(published.out / "results.gpkg")
    }
    blank = {row.split("|")[1] for row in table.splitlines() if row.split("|")[2].strip() == "blank"}
    for column in re.findall(r"`(\w+)`", "".join(blank)):
        for name, layer in {**layers, "tracks.csv": pd.read_csv(published.out / "tracks.csv")}.items():
            if column in layer and name != "layer_styles":
                assert layer[column].replace("", None).isna().all(), (name, column)
