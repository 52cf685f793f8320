"""The head of a line led by the opposite way: each bound met just so and missed by a little, each figure worked by hand.

The opposite way runs along the x axis, and the line 4 m left of it in steps of 5 m, but for what a test says.
"""

from __future__ import annotations

import numpy as np
import pytest

from gpsq.centreline.head import begun_at, from_usual_end, led_by

X = np.arange(0.0, 401.0, 5.0)
OPPOSITE = np.column_stack([X, np.zeros(len(X))])


def line(y=4.0, x=X):
    return np.column_stack([x, np.broadcast_to(y, len(x))]).astype(float)


def first_off(y=4.0, x=X):
    """Return a line whose first station lies 1 m further left than the rest."""
    made = line(y, x)
    made[0, 1] += 1.0
    return made


def is_led(made, opposite=OPPOSITE):
    return not np.array_equal(led_by(made, opposite), made, equal_nan=True)


def test_it_leads_in_full_over_87_m_and_less_and_less_to_262_m():
    """Shares of the 350 m looked at: of 1 m too far left, so much is left as (along − 87.5) / 175 says."""
    made, at = line(), [0, 17, 18, 35, 52, 53]
    made[at, 1] += 1.0
    left = led_by(made, OPPOSITE)[at, 1] - 4.0
    assert left == pytest.approx([0.0, 0.0, 2.5 / 175.0, 0.5, 172.5 / 175.0, 1.0])


@pytest.mark.parametrize(("own", "left_m"), [(0.0, 0.0), (0.5, 0.2), (2.0, 0.5), (6.0, 0.75)])
def test_what_a_place_is_worth_against_the_settled_ones_is_its_say(own, left_m):
    """The settled stations from 100 m on, of which there are 51, are worth 2 in the median; 2 : 2 is half and half."""
    made, weight = first_off(), np.full(len(X), 50.0)
    weight[20:71] = [2.0] + [1.0, 9.0] * 25
    weight[0] = own
    assert led_by(made, OPPOSITE, weight)[0, 1] - 4.0 == pytest.approx(left_m)


def test_a_place_has_the_worth_of_its_own_station_where_others_are_unknown():
    made, weight = line(), np.full(len(X), 2.0)
    made[5, 1] += 1.0
    made[:5] = np.nan
    weight[:5] = 0.0
    assert led_by(made, OPPOSITE, weight)[5, 1] - 4.0 == pytest.approx(0.5)


def test_where_no_place_is_worth_anything_the_line_stays():
    assert led_by(first_off(), OPPOSITE, np.zeros(len(X))).tolist() == first_off().tolist()


def test_on_a_street_of_100_m_it_leads_to_75_m():
    """20 stations are 95 m: too short. Of 21, the share at 30, 40 and 75 m is 0.9, 0.7 and nought."""
    made = line()[:21]
    made[[6, 8, 15], 1] += 1.0
    assert led_by(made, OPPOSITE)[[6, 8, 15], 1] - 4.0 == pytest.approx([0.1, 0.3, 1.0])
    assert not is_led(first_off()[:20])


def test_what_parts_the_two_is_the_median_from_100_m_to_350_m():
    """The station at 100 m counts, the one at 95 m does not: of 51 the middle one is 0.8 m."""
    made = line(9.0)
    made[20:71, 1] = [0.8] + [0.0] * 25 + [2.0] * 25
    assert led_by(made, OPPOSITE)[0, 1] == pytest.approx(0.8)
    made[71:, 1] = 2.0
    assert led_by(made, OPPOSITE)[0, 1] == pytest.approx(0.8)


def test_on_a_street_of_160_m_it_is_the_median_of_its_second_half():
    made = line(9.0)[:33]
    made[16:, 1] = [0.8] + [0.0, 2.0] * 8
    assert led_by(made, OPPOSITE)[0, 1] == pytest.approx(0.8)


@pytest.mark.parametrize(("apart_m", "led"), [(3.0, True), (3.1, False)])
def test_the_two_run_along_each_other_within_3_m(apart_m, led):
    made = first_off(0.0)
    made[20:71, 1] = [0.0] + [-apart_m] * 25 + [apart_m] * 25
    assert is_led(made) is led


@pytest.mark.parametrize(("away_m", "led"), [(30.0, True), (30.1, False), (-30.0, True), (-30.1, False)])
def test_within_30_m_it_is_one_street(away_m, led):
    made = line(away_m)
    made[0, 1] -= np.sign(away_m)
    assert is_led(made) is led


@pytest.mark.parametrize(("leap_m", "led"), [(15.0, True), (15.5, False), (-15.0, True), (-15.5, False)])
def test_the_two_advance_alike_within_15_m(leap_m, led):
    """One leg of the line is so much longer than its 5 m, or leads back by so much."""
    assert is_led(first_off(x=X + np.where(X >= 50.0, leap_m, 0.0))) is led


def test_it_advances_from_the_first_known_station_on():
    """The line is known from its sixth station on, 25 m on; the other way begins abreast of that."""
    made = line()
    made[5, 1] += 1.0
    made[:5] = np.nan
    assert led_by(made, OPPOSITE)[5, 1] == pytest.approx(4.0)
    assert led_by(made, OPPOSITE + np.array([25.0, 0.0]))[5, 1] == pytest.approx(4.0)
    assert np.isnan(led_by(made, OPPOSITE)[:5]).all()


def test_of_nothing_known_nothing_is_led():
    nowhere = np.full((60, 2), np.nan)
    assert led_by(nowhere, OPPOSITE) is nowhere
    late = line()
    late[:71] = np.nan
    assert led_by(late, OPPOSITE) is late
    assert led_by(first_off(), OPPOSITE[:1]).tolist() == first_off().tolist()
    still = np.zeros((60, 2))
    assert led_by(still, OPPOSITE) is still


def test_two_places_are_way_enough():
    assert led_by(first_off(), OPPOSITE[[0, -1]])[0].tolist() == [0.0, 4.0]


def test_an_opposite_way_that_begins_later_is_carried_on_straight():
    """It begins 20 m further on, with its second place 40 m away: a station before it is led as the others are."""
    later = np.array([[20.0, 0.0], [60.0, 0.0], [400.0, 0.0]])
    assert led_by(first_off(), later)[0].tolist() == [0.0, 4.0]


@pytest.mark.parametrize(("early_m", "cut"), [(15.0, True), (15.5, False), (7.0, True), (0.0, True)])
def test_a_line_is_cut_that_begins_up_to_15_m_before_the_rides_end(early_m, cut):
    made = line(x=X - early_m)
    found = begun_at(made, OPPOSITE)
    assert found[0] == pytest.approx([0.0, 4.0] if cut else [-early_m, 4.0])
    assert np.array_equal(found[1:], made[made[:, 0] > 0] if cut else made[1:])


def test_the_first_place_lies_between_its_neighbours():
    made = line(x=X - 7.0)
    made[:3, 1] = 1.0, 1.0, 2.0
    assert begun_at(made, OPPOSITE)[:2] == pytest.approx(np.array([[0.0, 1.4], [3.0, 2.0]]))


def test_a_line_of_which_a_station_before_it_is_unknown_is_not_cut():
    made = line(x=X - 12.0)
    made[1] = np.nan
    assert begun_at(made, OPPOSITE) is made
    made = line(x=X - 7.0)
    made[3] = np.nan
    assert begun_at(made, OPPOSITE)[0] == pytest.approx([0.0, 4.0])
    assert begun_at(line(x=X + 0.5), OPPOSITE).tolist() == line(x=X + 0.5).tolist()


@pytest.mark.parametrize(("on_m", "begins_m"), [(30.0, 30.0), (30.5, 0.0)])
def test_rides_that_end_up_to_30_m_behind_the_furthest_count(on_m, begins_m):
    found = from_usual_end(OPPOSITE, np.array([[0.0, 1.0], [on_m, 0.0], [on_m, -2.0]]))
    assert found[0] == pytest.approx([begins_m, 0.0])
    assert found[1] == pytest.approx([begins_m + 5.0, 0.0])


def test_it_is_carried_on_in_its_first_direction():
    bent = np.array([[0.0, 0.0], [3.0, 4.0], [50.0, 4.0]])
    found = from_usual_end(bent, np.array([[-6.0, -8.0]]))
    assert found == pytest.approx(np.vstack([[-6.0, -8.0], bent]))


def test_in_steps_of_a_metre_it_leads_just_as_far():
    """Also where the other way begins with a leg of half a metre, 20 m further on."""
    x = np.arange(0.0, 401.0)
    made, at = line(x=x), [0, 87, 88, 175, 262, 263]
    made[at, 1] += 1.0
    for opposite in (OPPOSITE, np.array([[20.0, 0.0], [20.5, 0.0], [400.0, 0.0]])):
        assert led_by(made, opposite)[at, 1] - 4.0 == pytest.approx([0.0, 0.0, 0.5 / 175.0, 0.5, 174.5 / 175.0, 1.0])
