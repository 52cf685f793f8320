"""``flags.csv`` as it is written, as others write it, and what is said of a table that is none."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

import numpy as np
import pytest
from trace_maker import road, trace_on

from gpsq.campaign import flags
from gpsq.exceptions import CampaignError
from gpsq.model import NAT, Flag

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "sha256,track,from_time,to_time,from_point,to_point,flag,note,file"
ROW = "ab,2,2025-06-02T07:00:10.250Z,2025-06-02T07:00:20.000Z,10,20,error,why,a.gpx"
FLAG = Flag(
    "ab", 2, np.datetime64("2025-06-02T07:00:10.250", "ms"), np.datetime64("2025-06-02T07:00:20", "ms"), 10, 20, "error", "why",
    "a.gpx",
)  # fmt: skip
QUOTE = "a quote that is not closed, or closed too early, from line"
AS_WRITTEN = (
    "a table of flags as gpsq writes it, parted by commas, with the columns sha256, track, from_time, to_time, from_point, "
    "to_point, flag, note, file"
)


def loaded(folder: Path, text: str) -> tuple[tuple[Flag, ...], tuple[str, ...]]:
    (folder / "flags.csv").write_bytes(text.encode())
    return flags.load(folder)


def written(folder: Path) -> list[str]:
    return (folder / "flags.csv").read_text("utf-8").splitlines()


def test_each_cell_is_read_and_written_where_it_stands(tmp_path: Path) -> None:
    assert flags.load(tmp_path) == ((), ())
    assert loaded(tmp_path, f"{HEAD}\n{ROW}\n") == ((FLAG,), ())
    flags.save(tmp_path, [FLAG])
    assert written(tmp_path) == [HEAD, ROW]
    untimed = dataclasses.replace(FLAG, from_time=NAT, to_time=NAT, note="", file="")
    flags.save(tmp_path, [untimed])
    assert written(tmp_path) == [HEAD, "ab,2,,,10,20,error,,"]
    assert np.isnat(flags.load(tmp_path)[0][0].from_time)


@pytest.mark.parametrize(
    "text",
    [
        f"\ufeff{HEAD}\r\n{ROW}\r\n", f"{HEAD.replace(',', ' , ')}\n{ROW}\n", f"{HEAD}\n{ROW.replace('Z', '')}\n",
        "\n".join(",".join(line.split(",")[k] for k in (6, 8, 7, 5, 4, 3, 2, 1, 0)) for line in (HEAD, ROW)),
    ],
)  # fmt: skip
def test_tables_that_others_wrote_are_read(tmp_path: Path, text: str) -> None:
    assert loaded(tmp_path, text) == ((FLAG,), ())


def test_note_and_file_may_be_missing(tmp_path: Path) -> None:
    bare = dataclasses.replace(FLAG, note="", file="")
    assert loaded(tmp_path, f"{HEAD.removesuffix(',note,file')}\n{ROW.removesuffix(',why,a.gpx')}\n") == ((bare,), ())
    assert loaded(tmp_path, "") == loaded(tmp_path, " \n\n") == ((), ())
    assert loaded(tmp_path, f"{HEAD}\n") == ((), ())


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (HEAD.replace(",", ";"), "columns parted by semicolons"), (HEAD.replace(",", "\t"), "columns parted by tabs"),
        (HEAD.replace("flag,", ""), "a table without the column flag"),
        ("sha256,track,flag", "a table without the columns from_time, to_time, from_point, to_point"),
        (f"{HEAD}\n{ROW}\n{ROW},more", "more cells than there are columns in line 3"),
        ("\n".join([HEAD, ROW, ROW.replace("why", '"why'), ""]), f"{QUOTE} 3 on"),
        ("\n".join([HEAD, ROW.replace("why", '"w"hy'), ""]), f"{QUOTE} 2 on"),
    ],
)  # fmt: skip
def test_what_is_no_table_of_flags_is_said_in_one_line_and_never_written_over(
    tmp_path: Path, text: str, found: str
) -> None:
    assert loaded(tmp_path, text)[1] == (f"flags.csv: found {found}; expected {AS_WRITTEN}",)
    with pytest.raises(CampaignError) as caught:
        flags.save(tmp_path, [FLAG])
    assert str(caught.value) == f"flags.csv: found {found}; expected {AS_WRITTEN}"
    assert (tmp_path / "flags.csv").read_bytes() == text.encode()
    with pytest.raises(CampaignError) as kept:
        flags.change(tmp_path, lambda _: [])
    assert f"found {found}; expected {AS_WRITTEN}" in str(kept.value)
    assert str(kept.value).endswith("; expected a table that can be kept; mend or remove it first")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((",2,2025", ",two,2025"), "invalid literal for int() with base 10: 'two'"),
        (("error", "clear"), "flag 'clear', which is none of intentional, error"),
        ((",10,20,", ",10,,"), "invalid literal for int() with base 10: ''"), (("2025-06-02T07:00:20.000Z", "noon"), "noon"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_followed_is_named_and_the_others_are_used(
    tmp_path: Path, change: tuple[str, str], said: str
) -> None:
    found, (problem,) = loaded(tmp_path, f"{HEAD}\n{ROW}\n{ROW.replace(*change)}\n{ROW.replace('ab', 'cd')}\n")
    assert [f.sha256 for f in found] == ["ab", "cd"]
    assert problem.startswith("flags.csv line 3: found ")
    assert said in problem
    assert problem.endswith("; expected one flag as gpsq writes it")
    with pytest.raises(CampaignError, match=r"flags\.csv: found "):
        flags.save(tmp_path, [FLAG])


def test_rows_are_named_by_the_line_that_they_begin_at(tmp_path: Path) -> None:
    noted = ROW.replace("why", '"one\ntwo\nthree"')
    _, (problem,) = loaded(tmp_path, f"{HEAD}\n{noted}\n{ROW.replace('error', 'x')}\n")
    assert problem.startswith("flags.csv line 5: ")
    _, (more,) = loaded(tmp_path, f"{HEAD}\n{noted}\n{ROW},x\n")
    assert "in line 5; expected" in more


def test_bytes_that_are_no_text_are_said(tmp_path: Path) -> None:
    (tmp_path / "flags.csv").write_bytes(HEAD.encode() + b"\n\xff")
    found, (problem,) = flags.load(tmp_path)
    assert found == ()
    assert problem.startswith("flags.csv: found a file that cannot be read ('utf-8' codec")
    assert problem.endswith("; expected a table in UTF-8")
    with pytest.raises(CampaignError, match="codec"):
        flags.save(tmp_path, [FLAG])
    (tmp_path / "flags.csv").unlink()
    (tmp_path / "flags.csv").mkdir()
    with pytest.raises(CampaignError, match="found Is a directory; expected a table of flags"):
        flags.save(tmp_path, [FLAG])


def test_what_a_person_keeps_in_further_columns_stays_with_its_stretch(tmp_path: Path) -> None:
    loaded(tmp_path, f"{HEAD},mood,who\n{ROW},glad,me\n{ROW.replace(',10,20,', ',30,40,')},,you\n")
    moved = dataclasses.replace(FLAG, from_point=30, to_point=40, note="now")
    flags.save(
        tmp_path, [dataclasses.replace(FLAG, from_point=5), moved, dataclasses.replace(FLAG, flag="intentional")]
    )
    assert written(tmp_path) == [
        f"{HEAD},mood,who", f"{ROW.replace(',10,', ',5,')},,", f"{ROW.replace('error', 'intentional')},glad,me",
        f"{ROW.replace(',10,20,', ',30,40,').replace('why', 'now')},,you",
    ]  # fmt: skip


def test_flags_are_in_order_of_file_track_and_point_and_notes_in_lines(tmp_path: Path) -> None:
    unsorted = [
        dataclasses.replace(FLAG, file=file, track=track, from_point=first, note="a\r\nb\rc")
        for file, track, first in (("b", 1, 1), ("a", 2, 9), ("a", 1, 5), ("a", 2, 3))
    ]
    flags.save(tmp_path, unsorted)
    found, _ = flags.load(tmp_path)
    assert [(f.file, f.track, f.from_point) for f in found] == [("a", 1, 5), ("a", 2, 3), ("a", 2, 9), ("b", 1, 1)]
    assert {f.note for f in found} == {"a\nb\nc"}


def test_a_change_sees_what_stands_there(tmp_path: Path) -> None:
    flags.change(tmp_path, lambda before: [*before, FLAG])
    flags.change(tmp_path, lambda before: [*before, dataclasses.replace(FLAG, sha256="cd")])
    assert [f.sha256 for f in flags.load(tmp_path)[0]] == ["ab", "cd"]


def test_a_flag_between_two_fixes_takes_out_none() -> None:
    """And is on no deviation, though half of nothing were shared."""
    trace = trace_on(road())
    between = Flag(trace.sha256, 1, trace.time[10] + 100, trace.time[10] + 200, 10, 10, "error")
    assert flags.fixes_of(between, trace).tolist() == []
    assert flags.counting(trace, [between]).all()
