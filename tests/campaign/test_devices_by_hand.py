"""Which recordings are one device's, on both sides of every limit; names of folders; clocks of the place."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import road, trace_on

from gpsq.campaign import device_folders
from gpsq.campaign.device_folders import by_folder_or_file, found_devices
from gpsq.campaign.device_names import device_of, folders_of, is_date
from gpsq.campaign.local_time import clock_in_words, local, offset_of_files, zone_in_words, zone_of
from gpsq.campaign.stretches import ridden_between
from gpsq.campaign.timestamps import parse_time, parse_times
from gpsq.plane import Plane

if TYPE_CHECKING:
    from gpsq.model import Trace

NAT = np.datetime64("NaT", "ms")


def made(file: str, day: int = 0, start_s: float = 0.0, aside_m: float = 0.0, **changes: object) -> Trace:
    """Return a recording of 400 s; `aside_m` makes it another receiver's of the same walk."""
    values = {"device": "", "file": file, "day": day, "start_s": start_s} | changes
    return trace_on(np.add(road(), [0.0, aside_m]), **values)  # type: ignore[arg-type]


def names(*traces: Trace) -> list[str]:
    return list(found_devices(traces).names.values())


# at the same time


@pytest.mark.parametrize(
    ("start_s", "together"),
    [(0, True), (199, True), (200, True), (201, False), (400, False), (-201, False), (-200, True)],
)
def test_recordings_run_beside_each_other_for_half_of_the_shorter(start_s: float, together: bool) -> None:
    pair = [made("a.gpx"), made("b.gpx", start_s=start_s, aside_m=9.0)]
    assert beside(*pair) == ({0, 1} if together else set())


def beside(*traces: Trace) -> set[int]:
    return device_folders.Beside(traces).of(range(len(traces)))


def test_a_short_recording_within_a_long_one_runs_beside_it_and_others_do_not() -> None:
    long, short = made("a.gpx"), trace_on(road(100), file="b.gpx", start_s=375)
    assert beside(long, short) == {0, 1}
    assert beside(long, made("c.gpx", date_known=False)) == set()
    assert beside(long, made("c.gpx", time=np.full(401, NAT))) == set()
    assert beside(long, trace_on(road(0), start_s=100)) == set()
    assert beside(long, trace_on(road(5), start_s=100)) == {0, 1}
    assert beside(made("c.gpx", start_s=60), made("a.gpx"), made("b.gpx", start_s=30), made("d.gpx", 1)) == {0, 1, 2}


def test_copies_lie_within_half_a_metre_at_seven_instants() -> None:
    for aside_m, copies in ((0.4, True), (0.6, False)):
        assert bool(beside(made("a.gpx"), made("b.gpx", aside_m=aside_m))) is not copies
    sparse = trace_on(road()[100:300:2], start_s=100, interval_s=2.0)
    assert not beside(made("a.gpx"), sparse)
    # apart at its end only
    bent = road().copy()
    bent[-1] += 3.0
    assert beside(made("a.gpx"), trace_on(bent))
    same = {"sha256": "ab" * 32}
    assert not beside(made("a.gpx", **same), made("b.gpx", aside_m=99.0, **same))
    assert beside(made("a.gpx", **same), made("b.gpx", track=2, aside_m=99.0, **same))


# folders


@pytest.mark.parametrize(
    ("file", "sites", "device"),
    [
        ("a.gpx", (), ""), ("watch/a.gpx", (), "watch"), ("watch/may/a.gpx", (), "watch"), ("monday/watch/a.gpx", (), ""),
        ("park/watch/a.gpx", (("park",),), "watch"), ("park/monday/a.gpx", (("park",),), ""),
        ("park/a.gpx", (("park",),), ""), ("x/y/z/w/a.gpx", (("x",), ("x", "y")), "z"), ("x/y/z/a.gpx", (("x", "y"),), "x"),
        ("x/y/a.gpx", (("x",), ("x", "y")), ""),
    ],
)  # fmt: skip
def test_the_first_folder_that_is_no_site_is_the_device(
    file: str, sites: tuple[tuple[str, ...], ...], device: str
) -> None:
    assert device_folders._by_folder(file, frozenset(sites)) == device
    known = device_folders.FoundDevices(sites=frozenset(sites))
    assert known.of_file(file) == (device or "unknown device")


def test_a_folder_half_of_whose_recordings_run_beside_another_of_them_is_no_device() -> None:
    beside = [made("all/a.gpx"), made("all/b.gpx", aside_m=9.0)]
    for others, shared in ((2, True), (3, False)):
        traces = [*beside, *(made(f"all/{day}.gpx", day) for day in range(1, others + 1))]
        found = found_devices(traces)
        assert ("all" in found.names.values()) is not shared
        assert bool(found.notes) is shared


def test_sites_are_told_by_different_sub_folders_of_one_folder() -> None:
    traces = [made("x/p/watch/a.gpx"), made("x/p/bar/a.gpx", aside_m=9.0)]
    found = found_devices(traces)
    assert found.sites == {("x", "p")}
    below = [made("p/watch/a.gpx"), made("p/bar/a.gpx", aside_m=9.0), made("q/watch/b.gpx", 1), made("r/hat/c.gpx", 2)]
    assert found_devices(below).sites == {("p",), ("q",)}
    deeper = [*below, made("s/t/watch/d.gpx", 4)]
    assert found_devices(deeper).sites == {("p",), ("q",)}
    dated = [made("p/2026-05-04/a.gpx"), made("p/2026-05-05/a.gpx", aside_m=9.0)]
    assert found_devices(dated).sites == frozenset()


def test_of_a_fleet_each_recording_is_named_by_itself() -> None:
    found = by_folder_or_file([made("watch/a.gpx"), made("a.gpx", creator="maker"), made("b.gpx", track=2)])
    assert found.names == {("watch/a.gpx", 1): "watch", ("a.gpx", 1): "maker", ("b.gpx", 2): "unknown device"}


# recordings that name no device


@pytest.mark.parametrize(("km", "pooled"), [(195, True), (205, False)])
def test_recordings_that_name_no_device_are_one_where_they_lie_within_200_km(km: float, pooled: bool) -> None:
    """A degree along the equator is 111.32 km (WGS 84: a = 6378.137 km)."""
    traces = [made("a.csv", 0, plane=Plane(10.0, 0.0)), made("b.csv", 1, plane=Plane(10.0 + km / 111.3195, 0.0))]
    assert (len(set(names(*traces))) == 1) is pooled
    between = made("c.csv", 2, plane=Plane(10.0 + km / 222.639, 0.0))
    assert set(names(*traces, between)) == {"unknown device"}


def test_of_one_recording_that_names_no_device_nothing_is_said() -> None:
    found = found_devices([made("a.csv", creator="maker"), made("b.csv", 1)])
    assert list(found.names.values()) == ["maker", "unknown device"]
    assert found.notes == ()


def test_where_half_of_them_run_beside_one_another_each_is_its_own() -> None:
    beside = [made("a.csv"), made("b.csv", aside_m=9.0)]
    single = names(*beside, made("c.csv", 1), made("d.csv", 2))
    assert single == [f"unknown device ({file}.csv)" for file in "abcd"]
    assert set(names(*beside, made("c.csv", 1), made("d.csv", 2), made("e.csv", 3))) == {"unknown device"}


def test_what_is_said_of_recordings_that_cannot_be_of_one() -> None:
    far = [made("z.csv", 2, plane=Plane(60.0, 0.0)), made("b.csv", 1), made("c.csv")]
    found = found_devices(far)
    assert list(found.names.values()) == [
        "unknown device (z.csv)", "unknown device (b.csv)", "unknown device (b.csv)",
    ]  # fmt: skip
    assert found.notes == (
        "3 recordings name no device and cannot be taken for one (made at the same time, far apart, or by receivers that "
        "write other sentences), so they count as 2. To name them, put the files of each device into a folder of its own, "
        'or write under [devices] in campaign.toml: "z.csv" = "a name"',
    )


@pytest.mark.parametrize(
    ("counts", "kinds"),
    [
        ({}, set()), ({"utc_offset_min": 120}, set()), ({"sentences_GPRMC": 100, "sentences_GPGGA": 10}, {"GPRMC", "GPGGA"}),
        ({"sentences_GPRMC": 100, "sentences_GPGGA": 9}, {"GPRMC"}),
        ({"sentences_GPRMC": 5, "other": 100}, {"GPRMC"}),
    ],
)  # fmt: skip
def test_a_receiver_is_known_by_the_sentences_that_are_not_rare(counts: dict[str, int], kinds: set[str]) -> None:
    assert device_folders._speech(made("a", counts=counts)) == {f"sentences_{kind}" for kind in kinds}


def test_those_without_a_place_go_with_the_first_region() -> None:
    lost = trace_on(np.empty((0, 2)), points=0)
    traces = [made("a.csv"), lost, made("b.csv", plane=Plane(60.0, 0.0)), made("c.csv"), lost]
    assert device_folders._regions(range(5), traces) == [[0, 1, 3, 4], [2]]
    assert device_folders._regions([1, 4], traces) == [[1, 4]]
    assert device_folders._regions([], traces) == []


# names


@pytest.mark.parametrize(
    ("name", "date"),
    [
        ("w1", True), ("w20", True), ("w200", False), ("kw3", True), ("1st", True), ("22nd", True), ("3rd", True),
        ("4th", True), ("123th", False), ("20260504T070012Z", True), ("20260504t0700", True), ("2026050t07", False),
        ("Week", True), ("", False), ("--", False), ("sábado", True), ("Środa", True), ("lørdag", True), ("mai 2026", True),
        ("May watch", False), ("monday_2", True), ("day", True), ("holiday", False), ("w", True), ("wa", False),
    ],
)  # fmt: skip
def test_which_names_of_folders_are_dates(name: str, date: bool) -> None:
    assert is_date(name) is date


def test_archives_are_no_folders() -> None:
    assert folders_of("a.gpx") == ()
    assert folders_of("park/Week.ZIP/x.zip/watch/mon.gpx") == ("park", "watch")


def test_a_device_is_named_by_the_log_then_by_what_was_found_and_renamed_last() -> None:
    renames = {"a.gpx": "by file", "found": "by found", "logged": "by logged", "unknown device": "by unknown"}
    assert device_of("a.gpx", "found", "logged", renames) == "by file"
    assert device_of("b.gpx", "found", "logged", renames) == "by logged"
    assert device_of("b.gpx", "found", "", renames) == "by found"
    assert device_of("b.gpx", "", "", renames) == "by unknown"
    assert [device_of("b.gpx", "x", "y", {}), device_of("b.gpx", "x", "", {}), device_of("b.gpx", "", "", {})] == [
        "y", "x", "unknown device",
    ]  # fmt: skip


# clocks


def test_zones_by_name_and_by_offset() -> None:
    moment = np.datetime64("2026-07-01T12:00:00.999", "ms")
    for name, clock in (("", "12:00:00"), ("+05:45", "17:45:00"), ("-03:30", "08:30:00"), ("Europe/Paris", "14:00:00")):
        assert f"{local(moment, zone_of(name)):%H:%M:%S}" == clock, name
        assert clock_in_words(moment, name) == f"{clock}.999 ({zone_in_words(name)})"
    assert [zone_in_words(name) for name in ("", "-03:30", "Asia/Tokyo")] == ["UTC", "UTC-03:30", "Asia/Tokyo"]
    assert clock_in_words(np.datetime64("2026-07-01T12:00:00.005", "ms"), "") == "12:00:00.005 (UTC)"
    assert clock_in_words(np.datetime64("1969-12-31T23:59:58.250", "ms"), "") == "23:59:58.250 (UTC)"
    assert clock_in_words(np.datetime64("2026-07-01T12:00:00", "ms"), "") == "12:00:00 (UTC)"


@pytest.mark.parametrize(
    ("offsets", "found"),
    [([60, None], "+01:00"), ([60, None, None], ""), ([-45], "-00:45"), ([840, 840, None], "+14:00"), ([1], "+00:01")],
)
def test_half_of_the_files_must_bear_the_offset(offsets: list[int | None], found: str) -> None:
    bearing = [replace(made("a"), counts={} if o is None else {"utc_offset_min": o}) for o in offsets]
    assert offset_of_files(bearing) == found


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2024-05-14T07:10:00.1239Z", "2024-05-14T07:10:00.123"), ("2024-05-14T07:10:00.1Z", "2024-05-14T07:10:00.100"),
        ("2024-05-14T07:10:00.012Z", "2024-05-14T07:10:00.012"), ("2024-12-31T24:00:00Z", "2025-01-01T00:00:00.000"),
        ("2024-05-14T00:10:00+05:45", "2024-05-13T18:25:00.000"), ("2024-05-14T23:10:00-0545", "2024-05-15T04:55:00.000"),
        ("2024-05-14T23:10:00−01", "2024-05-15T00:10:00.000"), ("2024-05-14T07:10:59.9Z", "2024-05-14T07:10:59.900"),
        ("2024-05-14T07:10:60.5Z", "2024-05-14T07:10:59.999"),
    ],
)  # fmt: skip
def test_instants_to_the_millisecond(text: str, utc: str) -> None:
    """ISO 8601-1:2019; thousandths are cut, not rounded, so that no fix comes before its time."""
    assert parse_time(text) == (np.datetime64(utc, "ms"), True)
    assert parse_time(text.rstrip("Z"))[1] is not text.endswith("Z")


@pytest.mark.parametrize(
    "text",
    [
        "noon",
        "",
        "2024-05-14T24:00:01Z",
        "2024-05-14T24:01:00Z",
        "2024-05-14T07:10:61Z",
        "0001-01-01T00:00:00+01:00",
        "2024-05-14T07:60Z",
    ],
)
def test_instants_that_are_none(text: str) -> None:
    assert np.isnat(parse_time(text)[0])
    assert not parse_time(text)[1]


def test_what_is_counted_of_many_times() -> None:
    texts = ["2024-05-14T07:10:00", "2016-12-31T23:59:60Z", "noon", "2024-05-14 07:10:01", "2016-12-31T235960Z", ""]
    read = parse_times(texts)
    assert (read.without_zone, read.unreadable, read.leap_seconds, read.offset_min) == (2, 2, 2, None)
    common = parse_times(["2024-05-14T07:10:00.5Z", "2024-05-14T07:10:01Z"])
    assert (
        common.time.tolist() == np.array(["2024-05-14T07:10:00.500", "2024-05-14T07:10:01"], "datetime64[ms]").tolist()
    )
    assert (common.without_zone, common.unreadable, common.leap_seconds, common.offset_min) == (0, 0, 0, None)
    assert np.isnat(parse_times(["2023-02-29T00:00:00Z"]).time[0])


@pytest.mark.parametrize(("length", "read"), [(100, True), (101, False)])
def test_no_time_is_longer_than_a_hundred_characters(length: int, read: bool) -> None:
    text = "2024-05-14T07:10:00." + "1" * (length - 21) + "Z"
    assert len(text) == length
    assert bool(np.isnat(parse_times([text, "x"]).time[0])) is not read


@pytest.mark.parametrize(("text", "minutes"), [("+14:59", 899), ("-00:30", -30), ("+0100", 60), ("-11", -660)])
def test_an_offset_is_read_in_minutes(text: str, minutes: int) -> None:
    assert parse_times([f"2024-05-14T07:10:00{text}"] * 2).offset_min == minutes


# stretches


def test_a_stretch_is_between_two_points_of_the_file_whatever_their_order() -> None:
    def of(points: list[int], first: int, last: int) -> list[int]:
        trace = trace_on(road(25.0), point=np.array(points), points=6)
        return np.flatnonzero(ridden_between(trace, first, last)).tolist()

    rising = [0, 1, 4, 5, 9, 12]
    assert of(rising, 1, 9) == [1, 2, 3, 4]
    assert of(rising, 2, 8) == [2, 3]
    assert of(rising, 13, 20) == []
    assert of(rising[::-1], 1, 5) == [2, 3, 4]
    assert of(rising[::-1], 5, 1) == [2, 3, 4]
    assert of(rising[::-1], 8, 11) == [0, 1]
    assert of([5, 4, 12, 9, 0, 1], 12, 0) == [2, 3, 4]


#: Weekdays and months in a dozen languages and their usual abbreviations, accents left out (Unicode CLDR, from memory).
WEEKDAYS = (
    "mon tue tues wed thu thur thurs fri sat sun monday tuesday wednesday thursday friday saturday sunday mo di "
    "mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag lun mar mer jeu ven sam "
    "dim lundi mardi mercredi jeudi vendredi samedi dimanche lunes martes miercoles jueves viernes sabado domingo "
    "mie jue vie sab dom lunedi martedi mercoledi giovedi venerdi sabato domenica gio maandag dinsdag woensdag "
    "donderdag vrijdag zaterdag zondag ma wo vr za zo segunda terca quarta quinta sexta segunda-feira terca-feira "
    "quarta-feira quinta-feira sexta-feira feira poniedzialek wtorek sroda czwartek piatek sobota niedziela pon "
    "wt sr czw pt sob niedz pondeli utery streda ctvrtek patek nedele mandag tirsdag onsdag torsdag fredag lordag "
    "sondag tir ons tor fre lor tisdag tis maanantai tiistai keskiviikko torstai perjantai lauantai sunnuntai "
)
MONTHS = (
    "jan feb mar apr may jun jul aug sep sept oct nov dec january february march april june july august september "
    "october november december januar februar marz maerz mai juni juli oktober dezember okt dez mrz janvier "
    "fevrier mars avril juin juillet aout septembre octobre novembre decembre enero febrero marzo abril mayo "
    "junio julio agosto septiembre octubre noviembre diciembre gennaio febbraio aprile maggio giugno luglio "
    "settembre ottobre dicembre "
)


def test_no_weekday_and_no_month_is_a_device():
    words = [
        *WEEKDAYS.split(),
        *MONTHS.split(),
        "week",
        "woche",
        "semaine",
        "semana",
        "settimana",
        "day",
        "tag",
        "jour",
        "kw",
        "w",
    ]
    assert [word for word in words if not (is_date(word.capitalize()) and is_date(f"{word} 14"))] == []
    assert [word for word in words if is_date(f"{word}q")] == []
