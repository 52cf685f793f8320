"""The numbers of rides that docs/protocol.md tells: against the library's distributions, not against gpsq's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

PROTOCOL = (Path(__file__).resolve().parents[2] / "docs" / "protocol.md").read_text(encoding="utf-8")


def row(begins: str) -> list[str]:
    (line,) = (line for line in PROTOCOL.splitlines() if line.startswith(f"| {begins}"))
    return [cell.strip() for cell in line.strip("|").split("|")][1:]


EFFECTS = [float(cell) for cell in row("true difference, in units of the scatter")]


def power_of_signs(rides: int, effect: float) -> float:
    """A sign test at 5 %: called where so few differences have one sign that twice their binomial tail keeps 5 %."""
    most = int((2 * stats.binom.cdf(np.arange(rides // 2), rides, 0.5) <= 0.05).sum()) - 1
    share = stats.norm.cdf(-effect)
    return float(stats.binom.cdf(most, rides, share) + stats.binom.cdf(most, rides, 1 - share)) if most >= 0 else 0.0


def power_of_student(rides: int, effect: float) -> float:
    bound, shift = stats.t.ppf(0.975, rides - 1), effect * np.sqrt(rides)
    return float(stats.nct.sf(bound, rides - 1, shift) + np.nan_to_num(stats.nct.cdf(-bound, rides - 1, shift)))


@pytest.mark.parametrize(("effect", "told"), list(zip(EFFECTS, row("rides for 80 % power, times"), strict=True)))
def test_rides_of_a_sign_test(effect, told):
    assert power_of_signs(int(told), effect) >= 0.8
    assert all(power_of_signs(fewer, effect) < 0.8 for fewer in range(2, int(told)))


def test_from_which_number_on_a_sign_test_keeps_its_power():
    said = "it stays above 80 % from 212, 61, 28, 17, 9, 6 and\n6 rides on"
    assert said in PROTOCOL
    for effect, first in zip(EFFECTS, (212, 61, 28, 17, 9, 6, 6), strict=True):
        assert min(power_of_signs(rides, effect) for rides in range(first, first + 30)) >= 0.8
        assert power_of_signs(first - 1, effect) < 0.8


@pytest.mark.parametrize(("effect", "told"), list(zip(EFFECTS, row("rides for 80 % power, errors"), strict=True)))
def test_rides_of_students_test(effect, told):
    # Eight to twelve rides are tested by sign flips, which find a hundredth less (test_paired.py counts them).
    assert power_of_student(int(told), effect) >= 0.8
    assert power_of_student(int(told) - 1, effect) < 0.8


@pytest.mark.parametrize("rides", [3, 5, 6, 8, 10, 20])
def test_what_so_many_rides_tell(rides):
    """The last two columns: told where found with 80 % power, at a step below not."""
    *_, times, ratios = row(f"{rides} |")
    words = {"as large as the scatter": 1.0, "two thirds of the scatter": 2 / 3}
    size = next((v for k, v in words.items() if ratios.startswith(k)), None)
    told = size or float(ratios.removeprefix("told if ").split()[0])
    assert power_of_student(rides, told * 1.04) >= 0.8 > power_of_student(rides, told * 0.94)
    if times == "none can be shown":
        assert power_of_signs(rides, 9.0) == 0.0
    else:
        told = float(times.split()[0])
        assert power_of_signs(rides, told * 1.04) >= 0.8 > power_of_signs(rides, told * 0.96)
