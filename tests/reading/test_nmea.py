"""NMEA 0183 logs: published sentences, logs of real receivers, and every expectation of the odd inputs."""

from __future__ import annotations

import csv
import math
import tomllib
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gpsq.exceptions import UnreadableFile
from gpsq.plane import geodesic_legs_m
from gpsq.reading.nmea import reader
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, Recording

if TYPE_CHECKING:
    from pathlib import Path

CASES = ("34-nmea-checksums", "35-nmea-mixed-talkers", "36-nmea-midnight", "37-nmea-void-status")


def sentence(body: str) -> str:
    """Return the body with its checksum: the exclusive or of its characters (NMEA 0183)."""
    value = 0
    for character in body:
        value ^= ord(character)
    return f"${body}*{value:02X}"


def log(*bodies: str) -> bytes:
    return "\r\n".join(map(sentence, bodies)).encode() + b"\r\n"


def gga(
    clock: str, quality: int = 1, sat: int = 8, lat: str = "5115.00000", lon: str = "00339.00000", talker: str = "GP"
) -> str:
    return f"{talker}GGA,{clock},{lat},N,{lon},W,{quality},{sat:02d},0.90,31.0,M,49.6,M,,"


def rmc(clock: str, day: str = "100724", status: str = "A", mode: str = "A", talker: str = "GP") -> str:
    return f"{talker}RMC,{clock},{status},5115.00000,N,00339.00000,W,9.70,84.0,{day},,,{mode}"


def read(data: bytes) -> Recording:
    (recording,) = reader.read(data, "log.nmea")
    return recording


def seconds(recording: Recording) -> list[float]:
    """Return seconds from the first timed record."""
    timed = recording.time[~np.isnat(recording.time)]
    return list((timed - timed[0]) / np.timedelta64(1, "s"))


def good(recording: Recording) -> np.ndarray:
    return recording.problem == ""


def to_first_fix_s(recording: Recording) -> float:
    """First timed record to first fix, nan where the file cannot say."""
    first = int(np.argmax(recording.fix != FIX_NONE))
    if recording.clock_jumps_at_fix or first == 0:
        return math.nan
    timed = recording.time[~np.isnat(recording.time)]
    return float((recording.time[first] - timed[0]) / np.timedelta64(1, "s"))


def legs_m(recording: Recording) -> np.ndarray:
    keep = good(recording)
    return geodesic_legs_m(recording.lon_deg[keep], recording.lat_deg[keep])


# ---------------------------------------------------------------- published sentences


@pytest.mark.open_data
def test_published_checksums(shared: Path) -> None:
    # sources stand in the table: DePriest, the gpsd project's description, an issue of a converter
    with (shared / "reference" / "nmea_checksums.csv").open(newline="") as table:
        rows = list(csv.DictReader(table))
    assert len(rows) >= 5
    for row in rows:
        recording = read(row["sentence"].encode())
        assert recording.points == 1
        body, _, digits = row["sentence"].rpartition("*")
        wrong = f"{body}*{int(digits, 16) ^ 1:02X}".encode()
        with pytest.raises(UnreadableFile, match="1 with a wrong checksum"):
            reader.read(wrong, "log.nmea")


def test_published_position() -> None:
    # D. DePriest, NMEA data: 48 deg 07.038' N, 11 deg 31.000' E, 8 satellites, hdop 0.9, 545.4 m
    one = read(b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47")
    assert one.lat_deg[0] == pytest.approx(48.1173, abs=1e-9)
    assert one.lon_deg[0] == pytest.approx(11.516667, abs=1e-6)
    assert (one.sat[0], one.hdop[0], one.ele_m[0]) == (8, 0.9, 545.4)
    # same source: 022.4 knots on 23 March 1994; one knot is 1852/3600 m/s by definition
    two = read(b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A")
    assert two.speed_mps[0] == pytest.approx(22.4 * 1852 / 3600)
    assert str(two.time[0]) == "1994-03-23T12:35:19.000"


def test_navigational_status_is_no_void_status() -> None:
    # NMEA 4.10 added a field to RMC whose V means "says nothing"; the fix stands (a real receiver's sentence)
    one = read(log("GNRMC,003956.00,A,4552.65403,S,17030.00668,E,0.025,,120419,,,A,V"))
    assert one.fix[0] == FIX_2D
    assert one.lat_deg[0] < 0 < one.lon_deg[0]


# ---------------------------------------------------------------- logs of real receivers


def rows_of(shared: Path) -> list[dict[str, str]]:
    with (shared / "data" / "nmea_logs" / "first_fix.csv").open(newline="") as table:
        return list(csv.DictReader(table))


@pytest.mark.open_data
def test_first_fix_of_real_receivers(shared: Path) -> None:
    rows = rows_of(shared)
    assert len(rows) == 12
    for row in rows:
        recording = read((shared / "data" / "nmea_logs" / row["file"]).read_bytes())
        before = int(np.argmax(recording.fix != FIX_NONE))
        if row["usable_as_ttff"] == "yes":
            assert to_first_fix_s(recording) == pytest.approx(float(row["seconds"]), abs=0.01), row["file"]
        else:
            assert math.isnan(to_first_fix_s(recording)), row["file"]
            assert any(f"after {before} epochs without a fix" in note for note in recording.notes), row["file"]
        # the table counts RMC sentences; a receiver that leaves one out of a void epoch has one epoch more
        assert 0 <= before - int(row["void_before_first_valid"]) <= 1 or row["file"].startswith("magellan")


@pytest.mark.open_data
def test_rests_of_real_receivers(shared: Path) -> None:
    folder = shared / "data" / "nmea_logs"
    never = read((folder / "skytraq.nmea").read_bytes())
    assert (never.fix == FIX_NONE).all()
    assert "never fixes: 17 epochs" in " ".join(never.notes)
    # quality 1 with 0 satellites from 19:40:50.0 to 19:40:57.0; 4 satellites from 19:40:57.5
    empty = read((folder / "hemi.nmea").read_bytes())
    assert "15 epochs with a fix claimed from 0 satellites" in " ".join(empty.notes)
    assert str(empty.time[np.argmax(empty.fix != FIX_NONE)]) == "2018-09-07T19:40:57.500"
    assert to_first_fix_s(empty) == pytest.approx(104.5)
    damaged = read((folder / "gp-320fw-2019-04-07-coldboot.nmea").read_bytes())
    assert damaged.counts["bad_checksum_sentences"] > 20
    assert good(damaged).sum() == 2


@pytest.mark.open_data
def test_every_real_log_reads(shared: Path) -> None:
    logs = sorted((shared / "data" / "nmea_logs").glob("*.nmea"))
    assert len(logs) == 17
    for path in logs:
        data = path.read_bytes()
        assert reader.looks_like(data)
        recording = read(data)
        assert (np.isfinite(recording.lat_deg) | (recording.problem != "")).all()


# ---------------------------------------------------------------- expectations of the odd inputs


@pytest.mark.open_data
@pytest.mark.parametrize("case", CASES)
def test_expectations(shared: Path, case: str) -> None:
    folder = shared / "inputs" / case
    for expect in tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))["expect"]:
        recording = read((folder / expect["file"]).read_bytes())
        keep = good(recording)
        legs = legs_m(recording)
        assert recording.points == expect["points"]
        assert bool(recording.notes) == (expect["outcome"] == "ok-warn")
        assert keep.sum() == expect["accepted"]
        assert legs.sum() == pytest.approx(expect["distance_m"]["value"], abs=expect["distance_m"]["tol"])
        if "duration_s" in expect:
            assert seconds(recording)[-1] == expect["duration_s"]
        for name in ("epochs_lost", "bad_checksum_sentences", "fragments", "garbage_lines"):
            assert recording.counts.get(name, 0) == expect.get(name, 0)
            assert not expect.get(name) or str(expect[name]) in " ".join(recording.notes)
        if "max_leg_m" in expect:
            assert legs.max() == pytest.approx(expect["max_leg_m"]["value"], abs=expect["max_leg_m"]["tol"])
        if "hdop_mean" in expect:
            assert recording.hdop[keep].mean() == pytest.approx(expect["hdop_mean"]["value"], abs=0.001)
        assert recording.date_known == (expect.get("date") != "unknown")
        if "times_utc" in expect:
            assert [f"{t}Z" for t in recording.time.astype("datetime64[s]")] == expect["times_utc"]
        if "ttff_s" in expect:
            assert to_first_fix_s(recording) == expect["ttff_s"]
            assert (recording.problem == "no_fix").sum() == expect["reasons"]["no_fix"]


# ---------------------------------------------------------------- joining


def test_order_of_sentences_does_not_matter() -> None:
    one = read(log(gga("065000.00"), rmc("065000.00"), gga("065001.00"), rmc("065001.00")))
    two = read(log(rmc("065000.00"), gga("065000.00"), rmc("065001.00"), gga("065001.00")))
    assert one.points == two.points == 2
    assert np.array_equal(one.time, two.time)
    assert np.array_equal(one.hdop, two.hdop)
    assert np.array_equal(one.speed_mps, two.speed_mps)


def test_combined_solution_wins_whatever_comes_first() -> None:
    for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0)):
        bodies = [gga("065000.00", talker=t, lat=f"51{m}.00000") for t, m in (("GN", 15), ("GP", 16), ("GL", 17))]
        recording = read(log(*(bodies[i] for i in order)))
        assert recording.points == 1
        assert recording.lat_deg[0] == pytest.approx(51.25)


def test_date_of_a_gga_whose_rmc_is_lost_at_midnight() -> None:
    recording = read(
        log(
            gga("235955.00"), rmc("235955.00", "311223"), gga("000000.00"), gga("000005.00"), rmc("000005.00", "010124")
        )
    )
    assert [str(t)[:16] for t in recording.time] == ["2023-12-31T23:59", "2024-01-01T00:00", "2024-01-01T00:00"]


def test_no_date_runs_on_over_midnight() -> None:
    recording = read(log(gga("235958.00"), gga("000003.00")))
    assert not recording.date_known
    assert seconds(recording) == [0, 5]
    # a clock that the fix corrects by a second is no new day
    assert seconds(read(log(gga("000010.00"), gga("000009.00")))) == [0, -1]


def test_date_from_zda_and_years_of_two_digits() -> None:
    assert str(read(log(gga("065000.00"), "GPZDA,065000.00,10,07,2024,00,00")).time[0]) == "2024-07-10T06:50:00.000"
    assert str(read(log(rmc("065000.00", "100799"))).time[0])[:4] == "1999"
    assert str(read(log(rmc("065000.00", "100700"))).time[0])[:4] == "2000"
    assert not read(log(rmc("065000.00", "320724"))).date_known


def test_epochs_without_any_clock_are_counted() -> None:
    void = ("GPRMC,,V,,,,,,,,,,N", "GPGGA,,,,,,0,00,99.99,,,,,,")
    recording = read(log(*void, *void, *void, rmc("152505.00"), gga("152505.00")))
    assert recording.points == 4
    assert np.isnat(recording.time[:3]).all()
    assert recording.clock_jumps_at_fix


def test_clock_that_stands_still_still_counts_epochs() -> None:
    void = "GPRMC,000000.00,V,,,,,,,010180,,,N"
    assert read(log(void, void, void, rmc("152505.00"))).points == 4


def test_repeated_fix_is_used_once() -> None:
    recording = read(log(rmc("152505.00"), rmc("152505.00"), rmc("152506.00")))
    assert recording.points == 2
    assert recording.counts == {"repeated_sentences": 1, "sentences_GPRMC": 3}


@pytest.mark.parametrize(("step_s", "jumps"), [(1, False), (30, False), (3000, True), (-40, True)])
def test_clock_set_by_the_fix(step_s: int, jumps: bool) -> None:
    def clock(second: int) -> str:
        return f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.00"

    void = [rmc(clock(40000 + i), status="V", mode="N") for i in range(4)]
    fixed = [rmc(clock(40003 + step_s + i)) for i in range(4)]
    assert read(log(*void, *fixed)).clock_jumps_at_fix == jumps


def test_either_sentence_can_say_void() -> None:
    assert read(log(gga("065000.00", quality=1), rmc("065000.00", status="V"))).fix[0] == FIX_NONE
    assert read(log(gga("065000.00", quality=0), rmc("065000.00"))).fix[0] == FIX_NONE
    assert read(log(rmc("065000.00", mode="N"))).fix[0] == FIX_NONE
    assert read(log("GNGNS,065000.00,5115.0,N,00339.0,W,NN,00,,,,,")).fix[0] == FIX_NONE
    assert read(log("GNGNS,065000.00,5115.0,N,00339.0,W,NA,05,1.1,31.0,49.6,,")).fix[0] == FIX_2D


@pytest.mark.parametrize(
    ("quality", "words"), [(6, "dead reckoning"), (7, "typed in by hand"), (8, "from a simulator")]
)
def test_positions_without_satellites_are_said(quality: int, words: str) -> None:
    bodies = (gga("065000.00", quality=quality), gga("065001.00"), gga("065002.00", quality=quality))
    recording = read(log(*bodies))
    assert f"2 epochs {words} (quality {quality})" in " ".join(recording.notes)
    # before the first satellite fix an estimate is no fix; a simulator replaces the satellites
    assert list(recording.fix) == [FIX_2D if quality == 8 else FIX_NONE, FIX_2D, FIX_2D]


def test_dimension_of_the_fix() -> None:
    gsa = "GPGSA,A,{},04,05,,09,12,,,24,,,,,2.5,1.3,2.1"
    recording = read(log(rmc("065000.00"), gsa.format(2), rmc("065001.00"), gsa.format(3)))
    assert list(recording.fix) == [FIX_2D, FIX_3D]
    assert list(recording.hdop) == [1.3, 1.3]
    ahead = read(log(gsa.format(2), rmc("065000.00"), gsa.format(3), rmc("065001.00")))
    assert list(ahead.fix) == [FIX_2D, FIX_3D]


# ---------------------------------------------------------------- damage


def test_sentences_without_checksum() -> None:
    bare = "\n".join(f"${b}" for b in (gga("065000.00"), rmc("065000.00"), rmc("065001.00")))
    assert read(bare.encode()).points == 2
    assert read(bare.encode()).counts["without_checksum"] == 3
    mixed = read(log(gga("065000.00")) + f"${gga('065001.00')}\n".encode())
    assert mixed.points == 1
    assert mixed.counts["fragments"] == 1


def test_cut_off_log() -> None:
    whole = log(gga("065000.00"), rmc("065000.00"), gga("065001.00"))
    assert not read(whole).truncated
    assert read(whole[:-20]).truncated


def test_other_text_around_the_sentences() -> None:
    lines = ("# a comment of the logger", f"07:00:01 {sentence(gga('065000.00'))}", "boot ok", "!AIVDM,1,1,,A,1,0*00")
    recording = read("\n".join(lines).encode())
    assert recording.points == 1
    assert recording.counts == {"lines_with_other_text": 1, "garbage_lines": 1, "sentences_GPGGA": 1}
    assert read(("\ufeff" + sentence(gga("065000.00"))).encode("utf-16-le")).points == 1


def test_impossible_minutes_give_no_position() -> None:
    recording = read(log(gga("065000.00", lat="5160.00000"), gga("065001.00", lat="")))
    assert list(recording.problem) == ["unparseable_coordinate", "no_position"]


def test_no_position_sentences_is_one_plain_line() -> None:
    with pytest.raises(UnreadableFile) as caught:
        reader.read(log("GPGSV,1,1,00"), "quiet.nmea")
    assert caught.value.reason == "no_positions"
    assert str(caught.value).startswith("quiet.nmea: found no sound GGA")


CLOCKS = st.integers(0, 86_399).map(lambda s: f"{s // 3600:02d}{s // 60 % 60:02d}{s % 60:02d}.00")
FIELDS = st.text("0123456789.,NSEWAV-", max_size=40)
BODIES = st.one_of(
    CLOCKS.map(gga),
    CLOCKS.map(rmc),
    st.tuples(st.sampled_from(("GPGGA,", "GNRMC,", "GPGSA,", "GPZDA,", "GPGLL,", "GNGNS,")), FIELDS).map("".join),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(BODIES, max_size=12), st.binary(max_size=30))
def test_any_log_is_read_or_refused(bodies: list[str], rubbish: bytes) -> None:
    for data in (log(*bodies), rubbish + log(*bodies) + rubbish, log(*bodies)[:-7]):
        reader.looks_like(data)
        try:
            recording = read(data)
        except UnreadableFile:
            continue
        assert recording.points <= len(bodies)
        assert (np.isfinite(recording.lat_deg) & np.isfinite(recording.lon_deg))[good(recording)].all()


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_one_wrong_character_loses_no_more_than_its_sentence(data: st.DataObject) -> None:
    whole = log(*(body for s in range(8) for body in (gga(f"06500{s}.00"), rmc(f"06500{s}.00"))))
    place = data.draw(st.integers(0, len(whole) - 1))
    spoilt = bytearray(whole)
    spoilt[place] ^= data.draw(st.integers(1, 255))
    recording = read(bytes(spoilt))
    assert recording.points == 8
    assert (recording.lat_deg == 51.25).all()
