"""A start typed on the page: a time of day gets the recording's own date, in the zone of the rides; what cannot be is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from trace_maker import trace_on

from gpsq.exceptions import CampaignError
from gpsq.settings import Settings
from gpsq.web import typed_starts

PARIS = "Europe/Paris"  # UTC+1 in winter, UTC+2 in summer (IANA time zone data)


def fixed_at(utc, **more):
    """A recording whose first fix is then."""
    first = np.datetime64(utc, "ms")
    places = np.array([(0.0, 0.0), (5.0, 0.0), (10.0, 0.0)])
    return trace_on(places, time=first + np.arange(3) * np.timedelta64(1, "s"), **more)


def read(typed, utc="2026-05-04T05:00:30", zone=PARIS, **more):
    return typed_starts.read(typed, [fixed_at(utc, **more)], zone, Settings())


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("07:00:12", "2026-05-04T07:00:12+02:00"),
        ("7:00", "2026-05-04T07:00:00+02:00"),
        (" 07:00:12.250 ", "2026-05-04T07:00:12.250000+02:00"),
        ("05:00:12Z", "2026-05-04T07:00:12+02:00"),
        ("2026-05-04 07:00:12", "2026-05-04T07:00:12+02:00"),
        ("2026-05-04T01:00:12-04:00", "2026-05-04T07:00:12+02:00"),
    ],
)
def test_a_time_of_day_gets_the_date_of_its_recording(typed, kept):
    assert read(typed) == kept


def test_a_start_before_midnight_is_of_the_day_before():
    assert read("23:58:00", "2026-05-03T22:00:30") == "2026-05-03T23:58:00+02:00"
    assert read("00:00:10", "2026-05-03T22:00:30") == "2026-05-04T00:00:10+02:00"


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("soon", "found 'soon'; expected a time of day as hh:mm:ss"),
        ("25:00:00", "found '25:00:00'; expected a time of day as hh:mm:ss"),
        ("07:60", "found '07:60'; expected"),
        ("07:00:42", "12 s after the first fix"),
        ("08:00:12", "1.0 h after the first fix"),
        ("01:00:12", "6.0 h before the first fix"),
        ("2026-05-03 07:00:12", "24.0 h before the first fix"),
    ],
)
def test_what_cannot_be_the_start_is_refused_and_said(typed, says):
    with pytest.raises(CampaignError) as refused:
        read(typed)
    assert says in str(refused.value)
    assert "07:00:30" not in str(refused.value), "the fix itself is never offered as an example"


def test_without_a_zone_only_a_text_that_names_one_is_read():
    assert read("05:00:12Z", zone=None) == "2026-05-04T05:00:12Z"
    for typed in ("07:00:12", "2026-05-04 07:00:12"):
        with pytest.raises(CampaignError, match="without a time zone"):
            read(typed, zone=None)


def test_clocks_that_are_put_back_or_forward_are_not_guessed():
    """In Paris, 02:30 came twice on 25 October 2026, and never on 29 March 2026 (Directive 2000/84/EC)."""
    with pytest.raises(CampaignError, match="when the clocks of Europe/Paris change"):
        read("02:30:00", "2026-10-25T01:31:00")
    assert read("02:30:00", "2026-10-25T00:31:00") == "2026-10-25T02:30:00+02:00"  # the second came after the fix
    with pytest.raises(CampaignError, match="clocks there skipped"):
        read("2026-03-29 02:30:00", "2026-03-29T01:31:00")


def test_a_recording_without_a_date_needs_one():
    with pytest.raises(CampaignError, match="has no date"):
        read("07:00:12", date_known=False)


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2030, 1, 1), timezones=st.just(ZoneInfo("UTC"))),
    st.integers(0, 13_000),
    st.sampled_from(["Europe/Paris", "America/St_Johns", "Asia/Kathmandu", "Pacific/Kiritimati", "UTC"]),
)
@example(datetime(2026, 5, 3, 22, 0, 30, tzinfo=ZoneInfo("UTC")), 120, PARIS)
def test_what_is_shown_can_be_typed_again_and_means_the_same(fix, wait_s, zone):
    fix = fix.replace(microsecond=0)
    found = fixed_at(fix.replace(tzinfo=None))
    started = np.datetime64((fix - timedelta(seconds=wait_s)).replace(tzinfo=None), "ms")
    there = (fix - timedelta(seconds=wait_s)).astimezone(ZoneInfo(zone))
    assume(there.replace(fold=0).utcoffset() == there.replace(fold=1).utcoffset())  # clocks are not being put back
    kept = typed_starts.read(typed_starts.shown(started, found, zone), [found], zone, Settings())
    assert np.datetime64(datetime.fromisoformat(kept).astimezone(ZoneInfo("UTC")).replace(tzinfo=None), "ms") == started


def test_a_start_is_shown_in_utc_where_no_zone_is_known():
    found = fixed_at("2026-05-04T05:00:30")
    assert typed_starts.shown(np.datetime64("2026-05-04T05:00:12", "ms"), found, "") == "05:00:12Z"
    assert typed_starts.shown(np.datetime64("2026-05-04T05:00:12", "ms"), found, PARIS) == "07:00:12"
    assert typed_starts.shown(np.datetime64("2026-05-03T21:59:12", "ms"), found, PARIS) == "2026-05-03 23:59:12"
    assert typed_starts.shown(np.datetime64("NaT", "ms"), found, PARIS) == ""
    assert typed_starts.shown(np.datetime64("2026-05-04T05:00:12.053", "ms"), found, PARIS) == "07:00:12.053"
