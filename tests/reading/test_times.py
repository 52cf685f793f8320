"""Times and numbers as people and programs write them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.campaign.timestamps import parse_time, parse_times
from gpsq.reading.numbers import parse_numbers


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        # ISO 8601-1:2019, extended and basic formats, and the spellings of the shared case 12
        ("2024-05-14T07:10:00Z", "2024-05-14T07:10:00"),
        ("20240514T071000Z", "2024-05-14T07:10:00"),
        ("2024-05-14T09:10:01+02:00", "2024-05-14T07:10:01"),
        ("2024-05-14T01:40:03-05:30", "2024-05-14T07:10:03"),
        ("2024-05-14T08:10:07+0100", "2024-05-14T07:10:07"),
        ("2024-05-14T08:10:07+01", "2024-05-14T07:10:07"),
        ("2024-05-14 07:10:06Z", "2024-05-14T07:10:06"),
        ("2024-05-14t07:10:06z", "2024-05-14T07:10:06"),
        ("2024-05-14T07:10:05.481920637Z", "2024-05-14T07:10:05.481"),
        ("2024-05-14T07:10:08,375Z", "2024-05-14T07:10:08.375"),
        ("2024-05-14T07:10Z", "2024-05-14T07:10:00"),
        ("2024-05-14T24:00:00Z", "2024-05-15T00:00:00"),
        ("2016-12-31T23:59:60Z", "2016-12-31T23:59:59.999"),
        ("1901-12-13T20:45:52Z", "1901-12-13T20:45:52"),
        ("2024-05-14T07:10:00 UTC", "2024-05-14T07:10:00"),
    ],
)
def test_known_spellings(text: str, utc: str) -> None:
    assert parse_time(text) == (np.datetime64(utc), True)


NO_TIMES = (
    "", "noon", "2024", "2024-05-14", "2024-13-01T00:00:00Z", "2024-02-30T00:00:00Z", "2024-05-14T25:00:00Z", "now",
    "NaT", "2024-05-14T07:61:00Z", "0000-01-01T00:00:00Z", "2024-05-14T07:10:00+99:99", "٢٠٢٤-05-14T07:10:00Z",
)  # fmt: skip


@pytest.mark.parametrize("text", NO_TIMES)
def test_what_is_no_time_is_unknown(text: str) -> None:
    read = parse_times([text])
    assert np.isnat(read.time[0])
    assert read.unreadable == 1


@given(st.datetimes(datetime(1980, 1, 6), datetime(2099, 12, 31)), st.integers(-14 * 60, 14 * 60))
def test_any_offset_gives_the_same_moment(moment: datetime, offset_min: int) -> None:
    local = moment.replace(tzinfo=UTC).astimezone(timezone(timedelta(minutes=offset_min)))
    expected = np.datetime64(moment, "ms")
    assert parse_times([local.isoformat()]).time[0] == expected
    fast = parse_times([moment.isoformat(timespec="milliseconds") + "Z"])
    assert fast.time[0] == expected
    assert fast.unreadable == 0


def test_the_fast_way_and_the_slow_way_agree() -> None:
    texts = [f"2024-05-14T07:{i:02d}:{i:02d}Z" for i in range(60)]
    slow = [parse_time(text)[0] for text in texts]
    assert parse_times(texts).time.tolist() == np.array(slow).tolist()
    assert parse_times([*texts, "noon"]).time[:-1].tolist() == np.array(slow).tolist()


@pytest.mark.parametrize(
    ("text", "value", "problem"),
    [
        ("51.5", 51.5, ""),
        (" 51.5 ", 51.5, ""),
        ("+1e-3", 0.001, ""),
        ("51,2734", 51.2734, ""),
        ("-3,8", -3.8, ""),
        ("−3.8", -3.8, ""),
        ("51.", 51.0, ""),
        (".5", 0.5, ""),
        (None, np.nan, "no_position"),
        ("  ", np.nan, "no_position"),
        ("abc", np.nan, "unparseable_coordinate"),
        ("1_000", np.nan, "unparseable_coordinate"),
        ("1,234,567", np.nan, "unparseable_coordinate"),
        ("1.234,5", np.nan, "unparseable_coordinate"),
        ("0x10", np.nan, "unparseable_coordinate"),
        ("51.5N", np.nan, "unparseable_coordinate"),
        ("NaN", np.nan, "not_finite"),
        ("-inf", np.nan, "not_finite"),
        ("1e999", np.nan, "not_finite"),
    ],
)
def test_numbers(text: str | None, value: float, problem: str) -> None:
    read = parse_numbers([text])
    np.testing.assert_array_equal(read.value, [value])
    assert read.problem[0] == problem
    assert parse_numbers([text, "1"]).problem[0] == problem


@given(st.lists(st.floats(-180, 180, allow_nan=False), min_size=1))
def test_numbers_read_back(values: list[float]) -> None:
    assert parse_numbers([repr(v) for v in values]).value.tolist() == values
