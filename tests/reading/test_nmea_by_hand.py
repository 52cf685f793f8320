"""NMEA 0183 logs field by field: every field another value, every code, every limit, every sentence that is told."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from test_nmea import gga, log, read, rmc, sentence

from gpsq.exceptions import UnreadableFile
from gpsq.reading.nmea import epochs, reader, sentences
from gpsq.reading.nmea.epochs import Epoch, clock_ms, degrees, join, number
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID

RMC_V = "GPRMC,{},V,,,,,,,100724,,,N"


def parsed(*bodies: str) -> list[sentences.Sentence]:
    return list(sentences.sentences(log(*bodies).decode(), sentences.Tally()))


def joined(*bodies: str) -> list[Epoch]:
    return join(parsed(*bodies), Counter())


# fields


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("000000", 0), ("000001.5", 1500), ("235959.999", 86_399_999), ("010203.", 3_723_000), ("120060", 43_260_000),
        ("120061", None), ("126000", None), ("240000", None), ("12000", None), ("1200000", None), ("", None), ("12:00", None),
        ("000000.0004", 0), ("000000.0006", 1),
    ],
)  # fmt: skip
def test_times_of_day(text: str, ms: int | None) -> None:
    assert clock_ms(text) == ms


@pytest.mark.parametrize(
    ("text", "letter", "value"),
    [
        ("4807.038", "N", 48 + 7.038 / 60), ("4807.038", "S", -48 - 7.038 / 60), ("01131.000", "E", 11 + 31 / 60),
        ("17959.99", "W", -179 - 59.99 / 60), ("0007.5", "N", 0.125), ("130.0", "E", 1.5), ("4560.0", "N", None),
        ("4559.9999", "N", 45 + 59.9999 / 60), ("4807.038", "", None), ("4807.038", "X", None), ("4807.038", "NS", 48.1173),
        ("7.038", "N", None), ("", "N", None), ("48-7.0", "N", None),
    ],
)  # fmt: skip
def test_angles(text: str, letter: str, value: float | None) -> None:
    found = degrees(text, letter)
    assert found == pytest.approx(value) if value is not None else np.isnan(found)


def test_numbers() -> None:
    texts = {"1": 1.0, "-1.5": -1.5, "+.5": 0.5, "5.": 5.0, "0": 0.0}
    assert {text: number(text) for text in texts} == texts
    assert all(np.isnan(number(text)) for text in ("", ".", "-", "1e3", "1,5", "nan", " 1"))


GGA = "GPGGA,065001.25,5115.6,S,00339.3,E,2,09,1.7,31.5,M,49.6,M,,"
RMC = "GPRMC,065001.25,A,5115.6,S,00339.3,E,10.0,84.0,290224,,,D"


def test_each_value_is_that_of_its_field() -> None:
    """A knot is 1,852 m an hour; 29 February of a year that four divides."""
    both = read(log(GGA, RMC))
    assert both.points == 1
    assert (both.lat_deg[0], both.lon_deg[0]) == (pytest.approx(-51.26), pytest.approx(3.655))
    assert (both.sat[0], both.hdop[0], both.ele_m[0]) == (9.0, 1.7, 31.5)
    assert both.speed_mps[0] == pytest.approx(10 * 1852 / 3600)
    assert str(both.time[0]) == "2024-02-29T06:50:01.250"
    assert (both.name, both.creator, both.segment.tolist(), both.truncated, both.notes) == ("", "", [0], False, ())
    assert both.counts == {"sentences_GPGGA": 1, "sentences_GPRMC": 1}
    gns = read(log("GNGNS,065001.25,5115.6,S,00339.3,E,AA,11,0.8,32.5,49.6,,"))
    assert (gns.sat[0], gns.hdop[0], gns.ele_m[0], gns.fix[0]) == (11.0, 0.8, 32.5, FIX_2D)
    assert np.isnan(gns.speed_mps[0])
    gll = read(log("GPGLL,5115.6,S,00339.3,E,065001.25,A,A"))
    assert (gll.lat_deg[0], gll.fix[0], gll.date_known) == (pytest.approx(-51.26), FIX_2D, False)
    assert str(gll.time[0]) == "1970-01-01T06:50:01.250"


def test_a_dilution_of_none_is_that_of_the_mode_sentence() -> None:
    gsa = "GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1"
    assert read(log(GGA.replace("1.7", "0.0"), gsa)).hdop.tolist() == [1.3]
    assert read(log(GGA, gsa)).hdop.tolist() == [1.7]
    assert np.isnan(read(log(GGA.replace("1.7", "0.0"))).hdop).all()


# what a sentence says of its fix


@pytest.mark.parametrize(
    ("body", "verdict"),
    [
        *((f"GPGGA,065000,,,,,{q},,,,M,,M,,", v) for q, v in (
            ("", FIX_UNSAID), ("x", FIX_UNSAID), ("0", FIX_NONE), ("1", FIX_2D), ("2", FIX_2D), ("3", FIX_2D), ("4", FIX_2D),
            ("5", FIX_2D), ("6", 6), ("7", 7), ("8", 8), ("9", FIX_2D))),
        *((f"GPGNS,065000,,,,,{m},,,,,,", v) for m, v in (
            ("", FIX_UNSAID), ("N", FIX_NONE), ("NN", FIX_NONE), ("NA", FIX_2D), ("AN", FIX_2D), ("E", 6), ("EN", 6), ("EM", 7),
            ("S", 8), ("ES", 8), ("EA", FIX_2D))),
        *((f"GPRMC,065000,{s},,,,,,,100724,,,{m}", v) for s, m, v in (
            ("A", "A", FIX_2D), ("A", "", FIX_2D), ("A", "N", FIX_NONE), ("V", "A", FIX_NONE), ("", "A", FIX_NONE), ("A", "E", 6),
            ("A", "M", 7), ("A", "S", 8), ("A", "D", FIX_2D))),
        *((f"GPGLL,,,,,065000,{s},{m}", v) for s, m, v in (
            ("A", "A", FIX_2D), ("A", "N", FIX_NONE), ("V", "A", FIX_NONE), ("A", "E", 6))),
    ],
)  # fmt: skip
def test_codes_of_quality_and_mode(body: str, verdict: int) -> None:
    """NMEA 0183, as described by the gpsd project: 0 none, 6 estimated, 7 manual, 8 simulated; N none, E, M, S alike."""
    (one,) = parsed(body)
    assert epochs._verdict(one) == verdict


@pytest.mark.parametrize(
    ("verdicts", "mode", "fix"),
    [
        ([FIX_2D], 0, FIX_2D), ([FIX_2D], 1, FIX_2D), ([FIX_2D], 2, FIX_2D), ([FIX_2D], 3, FIX_3D), ([6], 3, FIX_3D),
        ([FIX_UNSAID, FIX_2D], 0, FIX_2D), ([FIX_UNSAID], 3, FIX_UNSAID), ([FIX_2D, FIX_NONE], 3, FIX_NONE),
    ],
)  # fmt: skip
def test_sentences_of_one_instant_decide_together(verdicts: list[int], mode: int, fix: int) -> None:
    assert epochs._fix(verdicts, mode) == fix


def test_one_solution_is_used_and_the_values_that_it_lacks_are_those_of_the_next() -> None:
    """GN before GP before others by name; within one, GGA before GNS before RMC before GLL."""
    bodies = [
        "GLGGA,065000,5117.0,N,00339.0,W,1,07,1.1,17.0,M,,M,,", "GPGGA,065000,5116.0,N,00339.0,W,1,06,,16.0,M,,M,,",
        "GPRMC,065000,A,5118.0,N,00339.0,W,4.0,,100724,,,A",
    ]  # fmt: skip
    (epoch,) = joined(*bodies)
    found = epochs.claim(epoch)
    assert found.lat_deg == pytest.approx(51 + 16 / 60)
    assert (found.sat, found.hdop, found.ele_m) == (6.0, 1.1, 16.0)
    assert found.speed_mps == pytest.approx(4 * 1852 / 3600)
    (other,) = joined(*bodies, "GNGLL,5119.0,N,00339.0,W,065000,A,A")
    assert epochs.claim(other).lat_deg == pytest.approx(51 + 19 / 60)
    (void,) = joined(bodies[0], bodies[1].replace(",1,06", ",0,00"))
    assert epochs.claim(void).fix == FIX_NONE
    (beside,) = joined(bodies[0].replace(",1,07", ",0,00"), bodies[1])
    assert epochs.claim(beside).fix == FIX_2D
    (without,) = joined("GPGGA,065000,,,,,1,06,,16.0,M,,M,,", bodies[2])
    assert epochs.claim(without).lat_deg == pytest.approx(51.3)
    (half,) = joined("GPGGA,065000,5116.0,N,,,1,06,,16.0,M,,M,,")
    assert np.isnan([epochs.claim(half).lat_deg, epochs.claim(half).lon_deg]).all()
    (estimated,) = joined("GPGGA,065000,5116.0,N,00339.0,W,6,06,,16.0,M,,M,,", bodies[2])
    assert epochs.claim(estimated).quality == 6
    assert epochs.claim(epoch).quality == 0


def test_codes_of_fixes_are_in_order() -> None:
    """The greatest of several decides, and those of other positions lie above all of them."""
    assert FIX_UNSAID < FIX_NONE < FIX_2D < FIX_3D < epochs.ESTIMATED < epochs.MANUAL < epochs.SIMULATED


# joining


def test_a_late_sentence_is_of_its_instant_up_to_three_back() -> None:
    order = [gga(f"06500{s}") for s in range(4)]
    assert len(joined(*order, rmc("065001"))) == 4
    late = joined(*order, rmc("065000"))
    assert [e.clock_ms for e in late] == [24_600_000 + 1000 * s for s in (0, 1, 2, 3, 0)]
    (first, second) = joined(gga("065000"), gga("065000", lat="5116.0"))
    assert first.clock_ms == second.clock_ms


def test_two_positions_of_one_time_each_have_their_own_companions() -> None:
    two = joined(gga("065000"), gga("065000", lat="5116.0"), rmc("065000"), rmc("065000", mode="D"))
    assert [len(e.said) for e in two] == [2, 2]


def test_a_fix_said_again_letter_by_letter_is_left_out_and_a_void_one_is_not() -> None:
    counts: Counter[str] = Counter()
    assert len(join(parsed(gga("065000"), rmc("065000"), gga("065000")), counts)) == 1
    assert counts == {"repeated_sentences": 1}
    void = RMC_V.format("065000")
    counts.clear()
    assert len(join(parsed(void, void), counts)) == 2
    assert counts == {}


def test_without_a_clock_only_the_last_instant_goes_on() -> None:
    blank = "GPGGA,,,,,,0,00,99.99,,,,,,"
    assert len(joined(blank, "GPRMC,,V,,,,,,,,,,N")) == 1
    assert len(joined(blank, gga("065000"), "GPRMC,,V,,,,,,,,,,N")) == 3
    assert len(joined(blank, blank)) == 2


def test_dates_are_those_of_rmc_or_of_zda_of_the_same_instant() -> None:
    zda = "GPZDA,{},11,07,2024,00,00"
    ordinal = {day: np.datetime64(day, "D").astype(int) + 719_163 for day in ("2024-07-10", "2024-07-11")}
    assert joined(rmc("065000"), zda.format("065000"))[0].day == ordinal["2024-07-10"]
    assert joined(gga("065000"), zda.format("065000"))[0].day == ordinal["2024-07-11"]
    assert joined(gga("065000"), zda.format("065000"), rmc("065000", ""))[0].day == ordinal["2024-07-11"]
    assert joined(gga("065000"), zda.format("065001"))[0].day is None
    assert joined(zda.format("065000"), gga("065000"))[0].day is None
    assert joined(gga("065000"), zda.format(""))[0].day is None
    four = [gga(f"06500{s}") for s in range(4)]
    assert [e.day is not None for e in joined(*four, zda.format("065001"))] == [False, True, False, False]
    assert [e.day is not None for e in joined(*four, zda.format("065000"))] == [False] * 4
    (blank,) = joined("GPGGA,,,,,,0,00,99.99,,,,,,", zda.format("065000"))
    assert (blank.clock_ms, blank.day) == (24_600_000, ordinal["2024-07-11"])
    assert [e.clock_ms for e in joined(gga("064959"), "GPGGA,,,,,,0,00,99.99,,,,,,", zda.format("065000"))] == [
        24_599_000, 24_600_000,
    ]  # fmt: skip
    assert joined(gga("065000"), "GPZDA,065000,31,06,2024,00,00")[0].day is None


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("311279", "2079-12-31"),
        ("010180", "1980-01-01"),
        ("311299", "1999-12-31"),
        ("290223", None),
        ("10724", None),
        ("", None),
    ],
)
def test_years_of_two_digits_begin_with_gps_time(text: str, day: str | None) -> None:
    """GPS time begins in 1980 (IS-GPS-200, 3.3.4)."""
    (one,) = joined(rmc("065000", text))
    assert one.day == (None if day is None else np.datetime64(day, "D").astype(int) + 719_163)


def test_modes_are_of_the_position_before_them_unless_the_log_opens_with_them() -> None:
    gsa = "GPGSA,A,{},04,05,,09,12,,,24,,,,,2.5,1.{},2.1"
    behind = joined(gga("065000"), gsa.format(2, 1), gsa.format(3, 2), gga("065001"), gsa.format("x", 4))
    assert [(e.mode, e.mode_hdop) for e in behind] == [(3, 1.2), (0, 1.4)]
    ahead = joined(gsa.format(2, 1), gga("065000"), gsa.format(3, 2), gga("065001"))
    assert [(e.mode, e.mode_hdop) for e in ahead] == [(2, 1.1), (3, 1.2)]


# times


def test_days_run_on_over_midnight_and_a_step_back_of_an_hour_is_late_data() -> None:
    day_ms, hour_ms = 86_400_000.0, 3_600_000.0
    clock = np.array([day_ms - 1000, np.nan, 4000.0, 3000.0, 3000.0 + hour_ms, 3000.0])
    assert reader._unwrapped(clock).tolist()[2:] == [
        day_ms + 4000,
        day_ms + 3000,
        day_ms + 3000 + hour_ms,
        day_ms + 3000,
    ]
    assert reader._unwrapped(np.array([5000.0 + hour_ms, 4000.0])).tolist() == [5000.0 + hour_ms, day_ms + 4000.0]
    assert reader._unwrapped(np.array([np.nan, np.nan])).tolist() == pytest.approx([np.nan, np.nan], nan_ok=True)


def test_an_epoch_without_a_date_is_of_the_day_that_follows_its_neighbour() -> None:
    bodies = [
        gga("235950"),
        gga("235955"),
        rmc("235958", "311223"),
        gga("000001"),
        gga("000100"),
        rmc("000130", "010124"),
    ]
    times = read(log(*bodies)).time.astype("datetime64[s]").astype(str).tolist()
    assert times == [
        "2023-12-31T23:59:50", "2023-12-31T23:59:55", "2023-12-31T23:59:58", "2024-01-01T00:00:01", "2024-01-01T00:01:00",
        "2024-01-01T00:01:30",
    ]  # fmt: skip


def test_dates_said_with_a_fix_are_preferred() -> None:
    """Before its fix a receiver said a day of 1980; the epoch without a date goes with the fix."""
    bodies = [RMC_V.format("065000").replace("100724", "060180"), gga("065001", quality=0), rmc("065002", "100724")]
    assert [str(t)[:19] for t in read(log(*bodies)).time] == [
        "1980-01-06T06:50:00", "2024-07-10T06:50:01", "2024-07-10T06:50:02",
    ]  # fmt: skip
    only = [RMC_V.format("065000"), gga("065001", quality=0)]
    found = read(log(*only))
    assert (str(found.time[1])[:19], found.date_known) == ("2024-07-10T06:50:01", True)


def test_the_nearest_epoch_with_a_date_is_the_one_before_or_the_first() -> None:
    anchors = np.array([False, True, False, False, True, False])
    assert reader._nearest_before(anchors).tolist() == [1, 1, 1, 1, 4, 4]


@pytest.mark.parametrize(
    ("seconds", "fixed_at", "jumps"),
    [
        ([0, 1, 2, 62, 63], 3, False), ([0, 1, 2, 63, 64], 3, True), ([0, 1, 2, 1, 2], 3, True), ([0, 1, 2, 500], 0, False),
        ([0, 30, 60, 210, 240, 270], 3, False), ([0, 30, 60, 211, 241, 271], 3, True), ([0, 1, 2, 3, 900], 2, False),
        ([0, 1, 2, 3], None, False), ([np.nan, 1, 2], 1, True), ([np.nan, 1, 2], 0, False), ([0, np.nan, 59], 2, False),
    ],
)  # fmt: skip
def test_a_clock_that_the_fix_sets(seconds: list[float], fixed_at: int | None, jumps: bool) -> None:
    """A step back, or on by over a minute and over five usual steps, up to the fix."""
    ms = np.asarray(seconds, float) * 1000
    time = np.full(len(ms), np.datetime64("NaT", "ms"))
    time[np.isfinite(ms)] = np.datetime64("2024-05-14T07:00", "ms") + ms[np.isfinite(ms)].astype("timedelta64[ms]")
    fix = np.full(len(ms), FIX_NONE)
    if fixed_at is not None:
        fix[fixed_at:] = FIX_2D
    assert reader._clock_jumps(time, fix) is jumps


# what is told


def test_what_is_told_of_a_log() -> None:
    wrong = sentence(gga("065009"))[:-2] + "00"
    seen = sentence(rmc("065000"))[:-2] + "00"
    lines = [
        f"07:00 {sentence(gga('065000'))}", wrong, seen, "boot", "x", sentence(gga("065000")), "$GPGGA,065002,51",
        sentence(rmc("065003")), sentence("PABCD,1"), sentence("GPGSV,1,1,00"),
    ]  # fmt: skip
    found = read("\r\n".join(lines).encode() + b"\r\n")
    assert found.notes == (
        "2 sentences with a wrong checksum, not used; 1 epoch lost with them",
        "1 fragment of sentences without a checksum, not used",
        "2 lines without an NMEA sentence, passed over",
        "1 line with other text ahead of the sentence",
        "1 sentence letter for letter as before, used once",
    )
    assert found.counts == {
        "bad_checksum_sentences": 2, "epochs_lost": 1, "fragments": 1, "garbage_lines": 2, "lines_with_other_text": 1,
        "repeated_sentences": 1, "sentences_GPGGA": 2, "sentences_GPRMC": 1, "sentences_PABC": 1,
    }  # fmt: skip
    assert not found.truncated
    bare = read(f"${gga('065000')}\n${rmc('065000')}".encode())
    assert bare.notes == ("2 sentences used although the log has no checksums, so damage cannot be seen",)
    assert not bare.truncated


def test_where_the_time_of_a_damaged_sentence_stands() -> None:
    """GLL has it in its fifth field, the others in their first."""
    gll = sentence("GPGLL,5115.6,S,00339.3,E,065001,A,A")[:-2] + "00"
    cut = sentence("GPGLL,5115.6")[:-2] + "00"
    tally = sentences.Tally()
    assert list(sentences.sentences("\n".join([gll, cut, sentence(gga("065000"))[:-2] + "00"]), tally)) == []
    assert tally.bad_times == {"065001", "", "065000"}
    assert tally.counts == {"bad_checksum_sentences": 3}
    other = sentences.Tally()
    assert list(sentences.sentences(sentence("GPGSV,1,1,00")[:-2] + "FF", other)) == []
    assert other.bad_times == set()


@pytest.mark.parametrize(
    ("kind", "fields"), [("GGA", 14), ("GNS", 12), ("RMC", 11), ("GLL", 6), ("ZDA", 6), ("GSA", 17)]
)
def test_a_sentence_without_a_checksum_is_whole_or_a_fragment(kind: str, fields: int) -> None:
    """Fields that NMEA 0183 2.00 and later give it."""
    for commas, whole in ((fields, True), (fields - 1, False)):
        tally = sentences.Tally()
        found = list(sentences.sentences(f"$GP{kind}" + "," * commas + "\n", tally))
        assert len(found) == whole
        assert (tally.counts["without_checksum"], tally.counts["fragments"]) == (whole, not whole)


def test_a_log_that_ends_in_a_part_of_a_sentence_is_cut_off() -> None:
    whole = log(gga("065000"), gga("065001"))
    for data, cut in (
        (whole, False),
        (whole[:-2], False),
        (whole[:-10], True),
        (whole + b"$GPG\r\n", False),
        (whole + b"$GPG", True),
    ):
        assert read(data).truncated is cut


def test_records_without_a_fix_are_counted_and_told() -> None:
    void = [RMC_V.format("065000"), RMC_V.format("065001")]
    assert read(log(*void)).notes == ("the receiver never fixes: 2 epochs, all without a fix (status V or quality 0)",)
    printed = rmc("065002", status="V")
    assert read(log(*void, printed, rmc("065003"))).notes == (
        "3 of 4 epochs without a fix (status V or quality 0), 1 of them with a position printed, which is not used",
    )
    assert read(log(void[0], rmc("065003"))).notes == ("1 of 2 epochs without a fix (status V or quality 0)",)
    assert read(log(void[0], rmc("065003"))).problem.tolist() == ["no_fix", ""]


def test_what_is_told_of_clocks_and_days() -> None:
    blank = "GPRMC,,V,,,,,,,,,,N"
    jump = read(log(blank, blank, rmc("065003")))
    assert jump.notes[1] == "no clock before the fix: time to first fix unknown, after 2 epochs without a fix"
    steps = read(log(RMC_V.format("065000"), rmc("075003"), rmc("075004"), rmc("075005")))
    assert (
        steps.notes[1]
        == "the clock jumps before the fix sets it: time to first fix unknown, after 1 epoch without a fix"
    )
    assert read(log(gga("065000"))).notes == ("no sentence gives a date: the day is unknown, durations hold",)
    assert read(log("GPGGA,,5115.0,N,00339.0,W,1,08,0.9,31.0,M,49.6,M,,")).notes == ()


def test_fixes_from_no_satellites_are_none_where_the_field_is_filled_in() -> None:
    some = read(log(gga("065000", sat=0), gga("065001", sat=5), gga("065002", sat=0), gga("065003", quality=0, sat=0)))
    assert some.fix.tolist() == [FIX_NONE, FIX_2D, FIX_NONE, FIX_NONE]
    assert "2 epochs with a fix claimed from 0 satellites, not taken for fixes" in some.notes
    never = read(log(gga("065000", sat=0), gga("065001", sat=0)))
    assert never.fix.tolist() == [FIX_2D, FIX_2D]
    simulated = read(log(gga("065000", sat=0, quality=8), gga("065001", sat=5)))
    assert simulated.fix.tolist() == [FIX_2D, FIX_2D]


def test_estimates_before_the_first_satellite_fix_are_none() -> None:
    bodies = [gga("065000", quality=6), gga("065001", quality=7), gga("065002"), gga("065003", quality=6)]
    found = read(log(*bodies))
    assert found.fix.tolist() == [FIX_NONE, FIX_NONE, FIX_2D, FIX_2D]
    assert found.notes[:3] == (
        "2 epochs dead reckoning (quality 6), not measured by satellites",
        "1 epoch typed in by hand (quality 7), not measured by satellites",
        "2 epochs of these before the first satellite fix, not taken for fixes",
    )


def test_what_a_log_looks_like() -> None:
    for before, looks in ((65_529, True), (65_530, False)):  # "$GPGGA," ends at the 65,536th byte, and behind it
        assert reader.looks_like(b"x" * before + sentence(gga("065000")).encode()) is looks
    assert not reader.looks_like(b"  <!-- " + sentence(gga("065000")).encode())
    assert not reader.looks_like(b"$GPXXX,1")
    with pytest.raises(UnreadableFile) as refused:
        reader.read(sentence(gga("065000")).encode()[:-2] + b"00", "a.log")
    assert str(refused.value) == (
        "a.log: found no sound GGA, GNS, RMC or GLL sentence (1 with a wrong checksum); expected an NMEA 0183 log with positions"
    )
