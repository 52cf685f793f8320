"""What is said of dropped files: a line each, and what holds of several said once."""

from __future__ import annotations

from gpsq.web.received import Received, noticed


def record(outcome="ok", message="9 of 9 points are fixes.", notes=()):
    return {"outcome": outcome, "message": message, "notes": list(notes)}


def read(*records):
    line = Received("mon.gpx", "kept")
    line.read(records)
    return line


def test_a_file_gets_one_line_however_much_is_in_it():
    assert read(record(notes=["a", "b", "c"])).seen == "9 of 9 points are fixes."
    many = read(*[record()] * 3, record("error", "not a track"))
    assert (many.outcome, many.seen) == ("read", "4 recordings, 1 of which cannot be read: not a track")
    assert read(record("error", "not a track")).outcome == "unread"
    assert (read().outcome, read().seen) == ("unread", "0 recordings")


def test_two_notes_of_a_recording_are_kept():
    assert read(record(notes=["a", "b", "c"])).notes == ["a", "b"]


def test_the_same_note_is_said_once_for_all():
    lines = [Received(f"{n}.gpx", "kept", notes=["No start.", f"Gap of {n} s."]) for n in range(30)]
    assert noticed(lines) == ["30 files: No start.", "0.gpx: Gap of 0 s. The like in 29 more files."]


def test_the_same_note_of_two_tracks_of_one_file_names_the_file():
    assert noticed([Received("a.gpx", "kept", notes=["No start.", "No start."])]) == ["a.gpx: No start."]
    assert noticed([]) == []


def test_sentences_that_were_made_apart_are_one_note():
    texts = ["".join(["No ", "start."]) for _ in range(2)]
    assert texts[0] is not texts[1]
    assert noticed([Received(f"{n}.gpx", "kept", notes=[text]) for n, text in enumerate(texts)]) == [
        "2 files: No start."
    ]


def test_more_than_one_file_has_the_like():
    lines = [Received(f"{n}.gpx", "kept", notes=[f"Gap of {n} s."]) for n in range(3)]
    assert noticed(lines) == ["0.gpx: Gap of 0 s. The like in 2 more files."]
