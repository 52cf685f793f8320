"""How gpsq refuses: one plain line for a person, of a length that can be read, and nothing lost on the way between processes."""

from __future__ import annotations

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gpsq.exceptions import (
    CampaignError,
    GeometryError,
    GpsqError,
    InputError,
    NothingToAnalyse,
    OutputError,
    UnreadableFile,
    one_line,
)


@pytest.mark.parametrize(
    ("most", "shown"),
    [
        (None, "0123456789"),
        (11, "0123456789"),
        (10, "0123456789"),
        (9, "0123…6789"),
        (8, "0123…789"),
        (2, "0…"),
        (1, "…"),
    ],
)
def test_a_long_text_loses_its_middle_and_a_short_one_nothing(most, shown):
    assert one_line("0123456789", most) == shown


@given(st.text(max_size=60), st.one_of(st.none(), st.integers(1, 70)))
def test_a_line_is_a_line_and_no_longer_than_is_said(text, most):
    line = one_line(text, most)
    assert line.splitlines() == [line] * bool(line)
    assert line.isprintable()
    assert len(line) <= (most or len(text))
    assert one_line(line, most) == " ".join(line.split())
    whole = one_line(text)
    assert (whole.strip(), "  " in whole) == (whole, False)


def test_what_cannot_be_printed_parts_words_and_is_not_shown():
    assert one_line("\x1b[31mred\x07 \t alert\u202e\r\n") == "[31mred alert"


def test_an_error_of_input_is_one_sentence_of_file_found_and_expected():
    error = InputError("a\nb.gpx", "x" * 400, "a\tGPX document")
    assert str(error) == f"a b.gpx: found {'x' * 400}; expected a GPX document"
    assert (error.file, error.found, error.expected) == ("a\nb.gpx", "x" * 400, "a\tGPX document")
    longer = str(InputError("f", "y" * 200 + "z" * 201, "e"))
    assert longer == f"f: found {'y' * 200}…{'z' * 199}; expected e"


def test_a_file_that_cannot_be_read_comes_back_whole_from_a_worker():
    back = pickle.loads(pickle.dumps(UnreadableFile("f.gpx", "a web page", "GPX", "html_page")))  # noqa: S301 - its own
    assert (type(back), str(back)) == (UnreadableFile, "f.gpx: found a web page; expected GPX")
    assert (back.file, back.found, back.expected, back.reason) == ("f.gpx", "a web page", "GPX", "html_page")


def test_what_leaves_nothing_to_analyse_says_of_each_file_why():
    assert NothingToAnalyse("d", "nothing", "rides").lines == GpsqError("x").lines == ()
    assert NothingToAnalyse("d", "nothing", "rides", ("a: torn", "b: empty")).lines == ("a: torn", "b: empty")


def test_whoever_catches_a_kind_catches_what_stands_below_it():
    kinds = (InputError, UnreadableFile, CampaignError, NothingToAnalyse, OutputError, GeometryError)
    assert [kind.__mro__[1] for kind in kinds] == [GpsqError, InputError, InputError, InputError, GpsqError, GpsqError]
    assert issubclass(GeometryError, ValueError)
