"""Delimited text: every expectation of the odd inputs, and what tables of other makes and countries look like."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.exceptions import GpsqError, InputError, UnreadableFile
from gpsq.plane import geodesic_legs_m
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID, Recording
from gpsq.reading.table import reader
from gpsq.reading.table.columns import meaning

if TYPE_CHECKING:
    from pathlib import Path

CASES = ("15-clocks-go-back", "38-csv-semicolon-comma", "39-csv-day-first")


def read(text: str | bytes, **options: str) -> Recording:
    data = text.encode() if isinstance(text, str) else text
    (recording,) = reader.read(data, "ride.csv", **options)
    return recording


def first(text: str, **options: str) -> str:
    return str(read(text, **options).time[0])


def one(time: str, heading: str = "time", **options: str) -> str:
    """Return the moment of a table of one row."""
    return first(f"{heading};lat;lon\n{time};51.2;-3.6\n", **options)


# ---------------------------------------------------------------- expectations of the odd inputs


def check(recording: Recording, expect: dict) -> None:
    keep = recording.problem == ""
    assert recording.points == expect["points"]
    assert keep.sum() == expect["accepted"]
    legs = geodesic_legs_m(recording.lon_deg[keep], recording.lat_deg[keep])
    assert legs.sum() == pytest.approx(expect["distance_m"]["value"], abs=expect["distance_m"]["tol"])
    seconds = (recording.time[-1] - recording.time[0]) / np.timedelta64(1, "s")
    if expect["duration_s"] == "unknown":
        assert np.isnat(recording.time).all()
    else:
        assert seconds == expect["duration_s"]
    for name, row in (("first_time_utc", 0), ("last_time_utc", -1)):
        assert expect.get(name, f"{recording.time[row]}"[:19] + "Z") == f"{recording.time[row]}"[:19] + "Z"
    if "mean_speed_mps" in expect:
        assert legs.sum() / seconds == pytest.approx(expect["mean_speed_mps"]["value"], abs=0.01)
    if "ele_mean_m" in expect:
        assert recording.ele_m.mean() == pytest.approx(expect["ele_mean_m"]["value"], abs=0.01)
    for name in ("step_back_s", "step_back_row", "zone_assumed_utc"):
        # two cases do not say that UTC is assumed; where they do, the number counts
        assert name not in expect or recording.counts[name] == expect[name]
        assert name not in expect or str(expect[name]) in " ".join(recording.notes)


@pytest.mark.open_data
@pytest.mark.parametrize("case", CASES)
def test_expectations(shared: Path, case: str) -> None:
    folder = shared / "inputs" / case
    for expect in tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))["expect"]:
        option = expect.get("with_option", "")
        options = {"time_zone": option.removeprefix("zone ")} if option.startswith("zone ") else {}
        recording = read((folder / expect["file"]).read_bytes(), **options)
        check(recording, expect)
        notes = " ".join(recording.notes + recording.remarks)
        assert bool(recording.notes) == (expect["outcome"] == "ok-warn")
        assert recording.date_known == (expect.get("date") != "ambiguous")
        assert all(day in notes for day in expect.get("candidates", ()))
        signs = {",": ("comma,", "decimal comma"), ";": ("semicolon", ""), ".": ("", "decimal point")}
        assert signs[expect.get("separator", ".")][0] in notes
        assert signs[expect.get("decimal", ";")][1] in notes


# ---------------------------------------------------------------- headings


@pytest.mark.parametrize(
    ("headings", "meanings"),
    [
        # words of dictionaries: German, French, Spanish, Italian, Dutch; the last ones as loggers write them
        ("Datum;Uhrzeit;Breitengrad;Längengrad;Höhe;Geschwindigkeit", "date time lat lon ele speed"),
        ("Date;Heure;Latitude;Longitude;Altitude;Vitesse", "date time lat lon ele speed"),
        ("Fecha;Hora;Latitud;Longitud;Altitud;Velocidad", "date time lat lon ele speed"),
        ("Data;Ora;Latitudine;Longitudine;Quota;Velocità", "date time lat lon ele speed"),
        ("datum;tijd;breedtegraad;lengtegraad;hoogte;snelheid", "date time lat lon ele speed"),
        ("lon_deg;lat_deg;ele_m;speed_mps;HDOP;sat", "lon lat ele speed hdop sat"),
        ("UTC Time;GPS Latitude;GPS Longitude;Altitude (m);Satellites;Fix", "time lat lon ele sat fix"),
    ],
)
def test_headings_by_meaning(headings: str, meanings: str) -> None:
    assert [meaning(h) for h in headings.split(";")] == meanings.split()


def test_order_of_columns_is_free() -> None:
    recording = read("Longitude,note,Latitude\n-3.6,x,51.2\n")
    assert (recording.lon_deg[0], recording.lat_deg[0]) == (-3.6, 51.2)
    assert np.isnat(recording.time[0])
    assert "no column with times" in recording.notes


def test_unknown_headings_are_listed() -> None:
    with pytest.raises(UnreadableFile) as caught:
        reader.read(b"when,x,y\n1,2,3\n", "ride.csv")
    assert caught.value.reason == "no_coordinate_columns"
    assert "when, x, y" in str(caught.value)
    assert "latitude" in caught.value.expected


@pytest.mark.parametrize(
    ("heading", "value", "metres"),
    # km/h and mph by definition; one knot is 1852 m an hour; one foot 0.3048 m
    [
        ("speed (km/h)", 36, 10),
        ("Speed mph", 10, 4.4704),
        ("speed [kn]", 3600, 1852),
        ("speed", 5, 5),
        ("sog_kmh", 36, 10),
    ],
)
def test_units_of_speed(heading: str, value: float, metres: float) -> None:
    assert read(f"lat,lon,{heading}\n51,-3,{value}\n").speed_mps[0] == pytest.approx(metres)
    assert read(f"lat,lon,alt (ft)\n51,-3,{value}\n").ele_m[0] == pytest.approx(value * 0.3048)


def test_fix_columns() -> None:
    text = "lat,lon,fix\n" + "".join(f"51,-3,{word}\n" for word in ("none", "2d", "3d", "A", "V", "?"))
    recording = read(text)
    assert list(recording.fix) == [FIX_NONE, FIX_2D, FIX_3D, FIX_2D, FIX_NONE, FIX_UNSAID]
    assert list(recording.problem) == ["no_fix", "", "", "", "no_fix", ""]
    assert list(read("lat,lon,fix\n51,-3,1\n51,-3,3\n").fix) == [FIX_NONE, FIX_3D]
    assert list(read("lat,lon,quality\n51,-3,0\n51,-3,1\n").fix) == [FIX_NONE, FIX_2D]


def test_qualities_of_a_log_are_those_of_nmea() -> None:
    """NMEA 0183, GGA: 0 none, 1 GPS, 2 differential, 3 PPS. Where a 0 is among them, the ones are ordinary fixes."""
    text = "lat,lon,quality\n" + "".join(f"51,-3,{quality}\n" for quality in (0, 1, 1, 2, 3))
    assert [fix != FIX_NONE for fix in read(text).fix] == [False, True, True, True, True]
    assert list(read(text).problem) == ["no_fix", "", "", "", ""]


# ---------------------------------------------------------------- text


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
def test_encodings(encoding: str) -> None:
    data = "Zeit;Breite;Länge;Höhe\n14.05.2024 07:10:00;51,295;-3,725;20,5\n".encode(encoding)
    assert reader.looks_like(data, "a.txt")
    assert read(data).ele_m[0] == 20.5


@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(delimiter: str, end: str) -> None:
    rows = (("time", "lat", "lon"), ("2024-05-14T07:10:00Z", "51.2", "-3.6"), ("2024-05-14T07:10:01Z", "51.3", "-3.7"))
    recording = read(end.join(delimiter.join(row) for row in rows))
    assert list(recording.lat_deg) == [51.2, 51.3]
    assert not recording.truncated


def test_preamble_comments_and_blank_lines() -> None:
    recording = read("My ride\n\n# logger 7\n# time,lat,lon\n\n2024-05-14T07:10:00Z,51.2,-3.6\n#end\n\n")
    assert recording.points == 1
    assert recording.lon_deg[0] == -3.6


def test_quotes() -> None:
    recording = read('lat,lon,note\n51.2,-3.6,"two\nlines, one cell"\n51.3,-3.7,x\n')
    assert list(recording.lat_deg) == [51.2, 51.3]
    assert list(read('lat,lon\n"51,2","-3,6"\n').lat_deg) == [51.2]
    # a quote that is never closed must not swallow the rows below
    assert read('lat,lon,note\n51.2,-3.6,5" rain\n51.3,-3.7,"x\n51.4,-3.8,y\n').points == 3


def test_unquoted_decimal_commas_between_commas_are_refused() -> None:
    with pytest.raises(UnreadableFile, match="more cells than the 3 headings in 2 of 2 rows"):
        read("time,lat,lon\n1,51,2,-3,6\n2,51,3,-3,7\n")


def test_short_last_row_is_cut_off() -> None:
    recording = read("lat,lon,ele\n51.2,-3.6,1\n51.3,-3")
    assert recording.truncated
    assert list(recording.problem) == ["", "truncated_element"]
    with pytest.raises(UnreadableFile, match="a heading without rows"):
        read("lat,lon\n")


@pytest.mark.parametrize(
    ("lat", "lon", "degrees"),
    # 51 deg 14' 24" = 51.24 deg, 3 deg 30.6' = 3.51 deg: by definition of minute and second
    [
        ("51°14'24.0\"N", "3°30'36\"W", (51.24, -3.51)),
        ("51 14.4 N", "W 3 30.6", (51.24, -3.51)),
        ("S51.24", "3.51E", (-51.24, 3.51)),
        ("-51°14.4'", "+3°30.6'", (-51.24, 3.51)),
    ],
)
def test_degrees_minutes_and_letters(lat: str, lon: str, degrees: tuple[float, float]) -> None:
    recording = read(f"lat|lon\n{lat}|{lon}\n")
    assert (recording.lat_deg[0], recording.lon_deg[0]) == pytest.approx(degrees, abs=1e-12)


def test_reasons_of_unusable_coordinates() -> None:
    rows = ("51.2,-3.6", ",-3.6", "51.2,", "abc,-3.6", "nan,-3.6", "51°75'N,-3.6", "51.2E,3.6N", "95,3.6")
    recording = read("lat,lon\n" + "\n".join(rows) + "\n")
    none, bad = "no_position", "unparseable_coordinate"
    assert list(recording.problem) == ["", none, none, bad, "not_finite", bad, bad, ""]


# ---------------------------------------------------------------- times


@pytest.mark.parametrize(
    "text",
    [
        "2024-05-14T07:10:00Z", "2024-05-14 09:10:00+02:00", "2024-05-14T09:10:00 +0200", "2024/05/14 07:10",
        "14.05.2024 07:10:00", "14.05.24, 07:10", "14/05/2024 07:10:00.000", "5/14/2024 7:10:00 AM",
        "14 May 2024 07:10:00",
        "14. Mai 2024 07:10", "May 14, 2024 7:10 AM", "14 mai 2024 07h10", "20240514071000", "20240514T071000Z",
        "1715670600",
        "1715670600000", "1715670600.0", "1715670600000000",
    ],
)  # fmt: skip
def test_spellings_of_one_moment(text: str) -> None:
    # 1715670600 s: datetime(2024, 5, 14, 7, 10, tzinfo=UTC).timestamp() of the standard library
    assert datetime(2024, 5, 14, 7, 10, tzinfo=UTC).timestamp() == 1715670600
    assert one(text) == "2024-05-14T07:10:00.000"


def test_fractions_and_afternoon() -> None:
    assert one("2024-05-14 12:30:00.25 AM") == "2024-05-14T00:30:00.250"
    assert one("2024-05-14 12:30:00 pm") == "2024-05-14T12:30:00.000"
    assert one("1715670600,5") == "2024-05-14T07:10:00.500"


def test_date_and_time_in_two_columns() -> None:
    text = "Datum;Zeit;Breite;Länge\n13.05.2024;23:59:58;51,2;-3,6\n14.05.2024;00:00:02;51,2;-3,6\n"
    assert [str(t) for t in read(text).time] == ["2024-05-13T23:59:58.000", "2024-05-14T00:00:02.000"]
    assert first("date,time,lat,lon\n20240514,071000,51,-3\n") == "2024-05-14T07:10:00.000"
    # a complete time needs no date column
    assert first("date,time,lat,lon\n1999-01-01,2024-05-14 07:10,51,-3\n") == "2024-05-14T07:10:00.000"


def test_times_without_a_date() -> None:
    recording = read("Zeit;Breite;Länge\n23:59:58;51,2;-3,6\n00:00:02;51,2;-3,6\n")
    assert not recording.date_known
    assert recording.time[1] - recording.time[0] == np.timedelta64(4000, "ms")
    dates = read("date,lat,lon\n2024-05-14,51,-3\n2024-05-14,51,-3\n")
    assert np.isnat(dates.time).all()


def test_seconds_from_some_start() -> None:
    recording = read("seconds,lat,lon\n0,51,-3\n1.5,51,-3\n")
    assert not recording.date_known
    assert recording.time[1] - recording.time[0] == np.timedelta64(1500, "ms")


def test_order_of_day_and_month() -> None:
    assert one("03/05/2024 07:00", date_order="dmy") == "2024-05-03T07:00:00.000"
    assert one("03/05/2024 07:00", date_order="mdy") == "2024-03-05T07:00:00.000"
    assert read("time,lat,lon\n03/05/2024 07:00,51,-3\n", date_order="mdy").date_known
    assert one("24-05-14 07:00", date_order="ymd") == "2024-05-14T07:00:00.000"
    # the same day either way leaves nothing open; over midnight one reading jumps a month
    assert read("time,lat,lon\n05/05/2024 07:00,51,-3\n").date_known
    over = read("time,lat,lon\n03/05/2024 23:59,51,-3\n04/05/2024 00:01,51,-3\n")
    assert str(over.time[0])[:10] == "2024-05-03"
    assert over.date_known
    with pytest.raises(InputError, match="date order"):
        one("03/05/2024 07:00", date_order="european")


def test_one_decision_for_the_whole_column() -> None:
    recording = read("time,lat,lon\n12/05/2024 07:00,51,-3\n13/05/2024 07:00,51,-3\n")
    assert [str(t)[:10] for t in recording.time] == ["2024-05-12", "2024-05-13"]
    american = read("time,lat,lon\n05/12/2024 07:00,51,-3\n05/13/2024 07:00,51,-3\n")
    assert [str(t)[:10] for t in american.time] == ["2024-05-12", "2024-05-13"]


def test_zone_in_the_heading_and_none() -> None:
    assert one("2024-05-14 09:10", "time (UTC+2)") == "2024-05-14T07:10:00.000"
    said = read("UTC time,lat,lon\n2024-05-14 07:10,51,-3\n")
    assert "zone_assumed_utc" not in said.counts
    with pytest.raises(InputError, match="IANA"):
        one("2024-05-14 09:10", time_zone="Mars/Phobos")


def test_times_that_cannot_be_read_are_counted() -> None:
    recording = read("time,lat,lon\n2024-05-14T07:10:00Z,51,-3\nnoon,51,-3\n2024-02-30 07:00Z,51,-3\n,51,-3\n")
    assert list(np.isnat(recording.time)) == [False, True, True, True]
    assert recording.counts["times_unread"] == 2
    assert "the first in row 2: noon" in " ".join(recording.notes)


@pytest.mark.parametrize("start", [-90, -40, -10, 30])
def test_the_hour_that_comes_twice(start: int) -> None:
    # truth from the standard library: moments in UTC around 2024-10-27T01:00Z, written in local time
    zone = ZoneInfo("Europe/Berlin")
    moments = [datetime(2024, 10, 27, 1, tzinfo=UTC) + timedelta(minutes=start + m) for m in range(0, 100, 5)]
    rows = "".join(f"{m.astimezone(zone):%Y-%m-%d %H:%M:%S},51,-3\n" for m in moments)
    recording = read("time,lat,lon\n" + rows, time_zone="Europe/Berlin")
    assert list(recording.time) == [np.datetime64(m.replace(tzinfo=None), "ms") for m in moments]


# ---------------------------------------------------------------- anything


@settings(max_examples=150, deadline=None)
@given(
    st.text("0123456789.,;-:/ TZNSEW°'\"\n\r\t|aplmonti", max_size=120),
    st.sampled_from(["time,lat,lon\n", "lat;lon;date;time;fix\n", "Breite\tLänge\tHöhe\tZeit\n"]),
)
def test_any_text_is_read_or_refused(text: str, heading: str) -> None:
    try:
        recording = read(heading + text)
    except GpsqError:
        return
    keep = recording.problem == ""
    assert (np.isfinite(recording.lat_deg) & np.isfinite(recording.lon_deg))[keep].all()


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-90, 90), st.floats(-180, 180)), min_size=1, max_size=5),
    st.sampled_from([(";", ","), ("\t", ","), (",", "."), (";", ".")]),
)
def test_round_trip(places: list[tuple[float, float]], signs: tuple[str, str]) -> None:
    delimiter, point = signs
    rows = [delimiter.join(f"{v:.7f}".replace(".", point) for v in place) for place in places]
    recording = read("\n".join([f"lat{delimiter}lon", *rows, ""]))
    assert np.column_stack([recording.lat_deg, recording.lon_deg]) == pytest.approx(np.array(places), abs=1e-7)
