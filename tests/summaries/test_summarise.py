"""What is summed up is asked of each module with the recordings, results and routes that it works with."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from gpsq.summaries import summarise

#: Which module answers with which function, from how much of (traces, results, routes, settings), and under which name.
ASKED = {
    "devices": ("device_figures", "summarise", "trcs"),
    "start_states": ("device_figures", "by_start_state", "trs"),
    "comparisons": ("device_pairs", "compare_pairs", "trcs"),
    "error_variances": ("own_error", "error_variances", "trcs"),
    "ranks": ("ranking", "rank_by_repeatability", "trcs"),
    "distance_biases": ("distance_bias", "distance_biases", "trs"),
}
ANALYSIS = SimpleNamespace(traces="t", results="r", routes=("c",), settings=SimpleNamespace(confidence=0.9))


@pytest.fixture
def answered(monkeypatch):
    """Every module answers with its name and with what it was asked."""
    said = []

    def answers(name):
        def asked(*what):
            said.append(name)
            given = (ANALYSIS.traces, ANALYSIS.results, ANALYSIS.routes, ANALYSIS.settings)
            return name, "".join("trcs"[given.index(one)] for one in what)

        return asked

    def answers_in_parts(*what):
        *what, part, parts = what
        return *answers("by_route")(*what), part, parts

    for module, function, _ in ASKED.values():
        monkeypatch.setattr(getattr(summarise, module), function, answers(function))
    monkeypatch.setattr(summarise.hot_spots, "by_route", answers_in_parts)
    monkeypatch.setattr(summarise.hot_spots, "together", lambda found: ("together", found))
    monkeypatch.setattr(summarise.quality, "error_by_quality", answers("error_by_quality"))
    monkeypatch.setattr(summarise.ranking, "compare_places", lambda devices: ("ratios of", devices))
    monkeypatch.setattr(summarise.offsets, "between_devices", lambda tables, confidence: (tuple(tables), confidence))
    tables = {"c": "table", "without a line": "other", "without a table": None}
    monkeypatch.setattr(summarise, "station_table", lambda route, *_: tables[getattr(route, "name", route)])
    return said


def test_each_module_is_asked_for_its_part(answered, monkeypatch):
    monkeypatch.setattr(summarise, "_offsets_between", lambda analysis: "between")
    found = summarise.summaries(ANALYSIS)
    for name, (_, function, what) in ASKED.items():
        assert getattr(found, name) == (function, what), name
    assert (found.quality_classes, found.quality_trends) == ("error_by_quality", "trc")
    assert (found.hot_spots, found.hot_spot_searches) == ("together", ("by_route", "trcs", 0, 1))
    assert found.route_ratios == ("ratios of", found.devices)
    assert found.offsets_between == "between"


def test_what_is_worked_out_elsewhere_is_asked_last_and_not_done_here(answered, monkeypatch):
    monkeypatch.setattr(summarise, "_offsets_between", lambda analysis: "between")
    searched = lambda: answered.append("searched") or "found"  # noqa: E731
    compared = lambda: answered.append("compared") or ("pairs", "places")  # noqa: E731
    found = summarise.summaries(ANALYSIS, (searched, compared))
    assert (found.hot_spots, found.hot_spot_searches) == ("together", "found")
    assert (found.comparisons, found.ranks) == ("pairs", "places")
    assert sorted(answered[-2:]) == ["compared", "searched"]
    assert not {"by_route", "compare_pairs", "rank_by_repeatability"} & set(answered)


def test_the_search_may_be_for_a_part_of_the_routes(answered):
    assert summarise.places_that_stand_out(ANALYSIS, 1, 3) == ("by_route", "trcs", 1, 3)


def test_offsets_are_compared_where_there_is_a_table_and_a_line(answered):
    routes = [SimpleNamespace(name=name, centreline=line) for name, line in
              (("c", "line"), ("without a line", None), ("without a table", "line"))]  # fmt: skip
    analysis = SimpleNamespace(traces="t", results="r", routes=routes, settings=SimpleNamespace(confidence=0.9))
    assert summarise._offsets_between(analysis) == ((("table", "line"),), 0.9)
