"""Tables cell by cell: every column another value, every spelling and code, every guess that is told, and its limits."""

from __future__ import annotations

import numpy as np
import pytest
from test_table import one, read

from gpsq.exceptions import InputError, UnreadableFile
from gpsq.reading.numbers import parse_numbers
from gpsq.reading.recording import FIX_2D, FIX_3D, FIX_NONE, FIX_UNSAID
from gpsq.reading.table import reader, text, times, zones
from gpsq.reading.table.columns import factor, meaning, meanings, plain

PLACE = ",51.2,-3.6\n"


def refused(content: str, file: str = "ride.csv") -> UnreadableFile:
    with pytest.raises(UnreadableFile) as caught:
        reader.read(content.encode(), file)
    return caught.value


# cells


def test_every_cell_is_in_its_column() -> None:
    rows = (
        "time,lat,lon,ele,hdop,sat,speed,fix,note\n"
        "2024-05-14T07:10:00Z,51.25,-3.75,20.5,0.9,7,4.5,3d,rain\n2024-05-14T07:10:02Z,51.5,-3.5,21.5,0,8,5.5,2d,\n"
    )
    found = read(rows)
    assert (found.lat_deg.tolist(), found.lon_deg.tolist()) == ([51.25, 51.5], [-3.75, -3.5])
    assert (found.ele_m.tolist(), found.sat.tolist(), found.speed_mps.tolist()) == (
        [20.5, 21.5],
        [7.0, 8.0],
        [4.5, 5.5],
    )
    assert (found.hdop[0], bool(np.isnan(found.hdop[1]))) == (0.9, True)  # a dilution of 0 is none
    assert (found.fix.tolist(), found.problem.tolist()) == ([FIX_3D, FIX_2D], ["", ""])
    assert [str(t) for t in found.time] == ["2024-05-14T07:10:00.000", "2024-05-14T07:10:02.000"]
    assert (found.name, found.creator, found.segment.tolist(), found.truncated, found.date_known) == (
        "",
        "",
        [0, 0],
        False,
        True,
    )
    assert (found.notes, found.counts) == ((), {})
    assert found.remarks == (
        "read as a table: comma, decimal point, columns time/lat/lon/ele/hdop/sat/speed/fix; not used: note",
    )


def test_how_a_table_was_read_is_said() -> None:
    semicolon = "Länge;x;Breite;;y\n-3,75;1;51,25;;2\n".encode("latin-1")
    assert read(semicolon).remarks == (
        "read as a table: semicolon, decimal comma, columns Länge/Breite, Latin-1; not used: x, y",
    )
    assert read("lat\tlon\n1.5\t2.5\n").remarks == ("read as a table: tab, decimal point, columns lat/lon",)
    assert read("lat|lon\n1,5|2.5\n").remarks == ("read as a table: bar, decimal point, columns lat/lon",)
    wide = "lat,lon," + ",".join("c" * 40 for _ in range(22))
    said = read(f"{wide}\n1.5,2.5\n").remarks[0]
    assert said.endswith(", ".join(["c" * 30] * 20))


@pytest.mark.parametrize(
    ("cell", "value"),
    [("51,25", 51.25), ("1.051,25", 1051.25), ("51.25", 51.25), ("51", 51.0), ("1.051.000,5", 1_051_000.5)],
)
def test_with_decimal_commas_a_full_stop_parts_thousands(cell: str, value: float) -> None:
    assert parse_numbers([reader._with_point(cell, comma=True)]).value[0] == value
    assert reader._with_point(cell, comma=False) == cell


@pytest.mark.parametrize(
    ("cell", "letters", "degrees"),
    [
        ("51°14'24\"N", "NS", 51.24), ("51°14'24\"S", "NS", -51.24), ("-51°14'24\"", "NS", -51.24), ("-51°14'24\"S", "NS", 51.24),
        ("+3 30", "EW", 3.5), ("W3d30m36s", "EW", -3.51), ("3:30:36 W", "EW", -3.51), ("3º30′36″E", "EW", 3.51),
        ("3.51w", "EW", -3.51),
        ("51 59.99", "NS", 51 + 59.99 / 60), ("51 60", "NS", None), ("51 10 60", "NS", None), ("51 N", "EW", None),
        ("N51 S", "NS", None), ("3 30 36 12", "EW", None), ("x", "EW", None), ("", "EW", None), ("5114.4N", "NS", None),
        ("1131.0E", "EW", None),
        ("51°14.4N", "NS", 51.24), ("51°1424", "NS", None), ("51d14m24N", "NS", 51.24),
    ],
)  # fmt: skip
def test_angles_as_people_write_them(cell: str, letters: str, degrees: float | None) -> None:
    """24″ are 0.4′, 14.4′ are 0.24°, 36″ and 30′ are 0.51°: by definition of minute and second."""
    found = reader._angle(cell, letters)
    assert found == pytest.approx(degrees) if degrees is not None else np.isnan(found)


def test_angles_of_a_table_are_read_one_by_one() -> None:
    found = read("lat;lon\n51°14'24\"N;3,5 W\n51,5;3 30\nx;3,5\n51,5 E;\n")
    assert found.lat_deg.tolist() == pytest.approx([51.24, 51.5, np.nan, np.nan], nan_ok=True)
    assert found.lon_deg.tolist() == pytest.approx([-3.5, 3.5, 3.5, np.nan], nan_ok=True)
    bad = "unparseable_coordinate"
    assert found.problem.tolist() == ["", "", bad, bad]


@pytest.mark.parametrize(
    ("cells", "fixes"),
    [
        ("none no nofix no_fix 0 v void invalid false n", [FIX_NONE] * 10), ("3d 3d_fix", [FIX_3D] * 2),
        ("2 2d 4 5 dgps pps rtk sps gps a valid true fix yes y 1", [FIX_2D] * 16), ("? 6 7 8 9 x", [FIX_UNSAID] * 6),
        ("1 2 3", [FIX_NONE, FIX_2D, FIX_3D]), ("0 1 2 3", [FIX_NONE, FIX_2D, FIX_2D, FIX_3D]), ("1 2", [FIX_2D, FIX_2D]),
        ("V NONE 3D", [FIX_NONE, FIX_NONE, FIX_3D]),
    ],
)  # fmt: skip
def test_words_and_codes_for_a_fix(cells: str, fixes: list[int]) -> None:
    content = "lat,lon,fix\n" + "".join(f"51,-3,{cell}\n" for cell in cells.split())
    found = read(content)
    assert found.fix.tolist() == fixes
    assert found.problem.tolist() == ["no_fix" if fix == FIX_NONE else "" for fix in fixes]
    assert read("lat,lon,fix\n51,-3,no fix\n51,-3,3d fix\n").fix.tolist() == [FIX_NONE, FIX_3D]
    assert read("lat,lon\n51,-3\n").fix.tolist() == [FIX_UNSAID]


# headings


@pytest.mark.parametrize(
    ("heading", "plain_", "what"),
    [
        ("GPS Latitude [°]", "gps_latitude", "lat"), ("LängenGrad", "langen_grad", ""), ("fixType", "fix_type", "fix"),
        ("Straße", "strasse", ""), ("długość", "dlugosc", "lon"), ("Højde (m)", "hojde_m", "ele"), ("lat", "lat", "lat"),
        ("Speed m/s", "speed_m_s", "speed"), ("speed_kmh", "speed_kmh", "speed"), ("UTC", "utc", "time"),
        ("utc_date", "utc_date", "date"),
        ("altitude msl", "altitude_msl", "ele"), ("latitude" * 30, "latitude" * 30, ""), ("", "", ""), ("m", "m", ""),
        ("широта", "широта", "lat"),
    ],
)  # fmt: skip
def test_what_a_heading_means(heading: str, plain_: str, what: str) -> None:
    assert (plain(heading), meaning(heading)) == (plain_, what)


#: The words for each quantity, as people's tables have them in a dozen languages.
WORDS = {
    "lat": "lat latitude latitud latitudine breite breitengrad geographische_breite geogr_breite largeur breedtegraad "
    "breddegrad szerokosc leveysaste sirina широта 緯度 纬度",
    "lon": "lon long lng longitude longitud longitudine lange laenge langengrad laengengrad geographische_lange "
    "geogr_lange longueur lengtegraad lengdegrad laengdegrad dlugosc pituusaste duljina долгота 経度 经度",
    "time": "time timestamp datetime date_time time_date time_stamp clock clock_time zeit zeitstempel uhrzeit zeitpunkt "
    "datum_zeit datum_uhrzeit heure horodatage date_heure date_et_heure hora fecha_hora fecha_y_hora ora data_ora "
    "data_e_ora data_hora tijd tijdstip datum_tijd tid tidpunkt aika czas vreme время дата_время 時刻 時間 时间 epoch "
    "epoch_time unix unix_time unixtime seconds sekunden secondes segundos secondi utc utc_time",
    "date": "date datum fecha data jour dag dato paivays дата 日付 日期 utc_date",
    "ele": "ele elevation elev alt altitude height hohe hoehe hauteur altitud elevacion altura quota altitudine hoogte "
    "hojde hojd korkeus wysokosc visina высота 高度 標高 ele_m msl_altitude altitude_msl",
    "hdop": "hdop horizontal_dop horizontal_dilution horizontal_dilution_of_precision",
    "sat": "sat sats satellites satelliten satelites satelliti satellieten satelliter nsat nsats numsat numsats num_sats "
    "num_sat sat_used sats_used satellites_used number_of_satellites nombre_de_satellites anzahl_satelliten "
    "спутники",
    "speed": "speed spd velocity geschwindigkeit tempo vitesse velocidad velocita snelheid fart hastighet nopeus predkosc "
    "brzina скорость 速度 ground_speed speed_over_ground sog",
    "fix": "fix fix_type fixtype fix_mode fix_quality gps_fix fix_status quality gps_quality qualitat status valid",
}  # fmt: skip


@pytest.mark.parametrize("what", WORDS)
def test_each_word_for_a_quantity_means_it(what):
    words = WORDS[what].split()
    assert [word for word in words if meaning(word.replace("_", " ")) != what] == []
    assert not [word for word in words if meaning(f"{word}x") == what]


#: Beside a quantity these say of what kind, in which unit or in whose coordinates it is.
BESIDE = (
    "gps gnss position pos deg degree degrees grad degre degres gradi grados dd wgs84 wgs 84 decimal dezimal iso8601 iso local utc "
    "gmt m meter meters metres metre ft feet kmh kph mph kn kt kts knots mps ms s sec north east n e z"
)


@pytest.mark.parametrize("word", BESIDE.split())
def test_what_stands_beside_a_quantity_is_no_other_one(word):
    assert [meaning(f"{what} {word}") for what in ("Breite", "Uhrzeit", "Tempo")] == ["lat", "time", "speed"]
    assert meaning(f"Breite {word}x") == "", "no word may stand there"


def test_the_first_column_of_a_kind_counts_but_for_a_time_in_utc() -> None:
    assert meanings(("lat", "latitude", "lon")) == {"lat": 0, "lon": 2}
    assert meanings(("time", "UTC time", "lat")) == {"time": 1, "lat": 2}
    assert meanings(("UTC time", "time utc", "time")) == {"time": 0}
    assert meanings(("local time", "time")) == {"time": 0}
    assert meanings(("speed", "speed utc")) == {"speed": 0}


@pytest.mark.parametrize(
    ("what", "heading", "size"),
    [
        ("speed", "speed km/h", 1 / 3.6), ("speed", "speed_kmh", 1 / 3.6), ("speed", "kph", 1 / 3.6), ("speed", "mph", 0.44704),
        ("speed", "mi/h", 0.44704), ("speed", "kn", 1852 / 3600), ("speed", "kts", 1852 / 3600), ("speed", "in knots", 1852 / 3600),
        ("speed", "known", 1.0), ("speed", "m/s", 1.0), ("ele", "alt (ft)", 0.3048), ("ele", "FEET", 0.3048),
        ("ele", "foot", 0.3048),
        ("ele", "left", 1.0), ("ele", "km/h", 1.0), ("hdop", "ft", 1.0),
    ],
)  # fmt: skip
def test_units_in_headings(what: str, heading: str, size: float) -> None:
    """By definition: a mile is 1609.344 m, a knot 1852 m an hour, a foot 0.3048 m."""
    assert factor(what, heading) == pytest.approx(size, rel=1e-12)


# text


def test_encodings_are_told_by_mark_by_zeros_or_by_what_fits() -> None:
    assert text.decode(b"\xef\xbb\xbflat") == ("lat", "UTF-8")
    for name in ("utf-16-le", "utf-16-be", "utf-16"):
        assert text.decode("lat,lon,time".encode(name)) == ("lat,lon,time", "UTF-16")
    assert text.decode("Höhe".encode("cp1252")) == ("Höhe", "Latin-1")
    assert text.decode(b"\x80") == ("€", "Latin-1")
    assert text.decode(b"a\0b\0") == ("a\0b\0", "UTF-8")  # too short to be told by its zeros
    assert text.decode(b"a\0b\0c\0d\0e\0") == ("abcde", "UTF-16")
    assert text.decode(b"a\0b\0c\0d\0") == ("a\0b\0c\0d\0", "UTF-8")


def test_a_heading_stands_within_sixty_lines() -> None:
    for lines, found in ((59, True), (60, False)):
        assert (text.find_heading("x\n" * lines + "lat,lon\n1,2\n") is not None) is found
    start, delimiter = text.find_heading("a ride; of mine\n# lat;lon\n1;2\n") or (0, "")
    assert (start, delimiter) == (16, ";")
    for size, found in ((4000, True), (4001, False)):
        line = "lat,lon," + "x" * (size - 9) + "\n"
        assert len(line) == size
        assert (text.find_heading(line) is not None) is found


def test_first_cells_are_those_of_the_first_line_that_says_anything() -> None:
    assert text.first_cells("\n  \n# a,b\nx;y;z,1\nlat") == ("x", "y", "z,1")
    assert text.first_cells("") == ()
    error = refused("# note\n" + ",".join(f"col{k}" + "x" * 40 for k in range(25)))
    named = "the headings " + ", ".join((f"col{k}" + "x" * 40)[:30] for k in range(20))
    shown = f"{named[:200]}…{named[-199:]}"  # 400 signs of what was found
    assert (error.reason, str(error).startswith(f"ride.csv: found {shown}; expected columns named")) == (
        "no_coordinate_columns", True,
    )  # fmt: skip
    assert "the headings nothing" in str(refused("\n\n"))


def test_comments_blank_lines_and_short_rows() -> None:
    found = text.sheet("title\nlat;lon;x\n1;2;3\n\n ; ;\n#4;5;6\n7;8\n", "UTF-8", 6, ";")
    assert (found.headings, found.rows, found.ends_mid_line) == (
        ("lat", "lon", "x"),
        (("1", "2", "3"), ("7", "8")),
        False,
    )
    assert [found.column(k) for k in (0, 2)] == [["1", "7"], ["3", ""]]
    assert found.delimiter_name == "semicolon"
    assert text.sheet("lat;lon\n1;2", "UTF-8", 0, ";").ends_mid_line
    assert text.sheet('# lat;"a;""b"";c";lon\n1;2;3\n', "UTF-8", 0, ";").headings == ("lat", 'a;"b";c', "lon")
    assert text.cells_of("# lat , lon\r\n", ",") == ("lat", "lon")
    assert text.cells_of("", ",") == ()


def test_a_blank_before_a_quote_is_none_of_its_cell() -> None:
    assert text.cells_of('"lat", "lon, east"', ",") == ("lat", "lon, east")
    found = text.sheet('lat, "n, m", lon\n1, "2, x", 3\n', "UTF-8", 0, ",")
    assert (found.headings, found.rows) == (("lat", "n, m", "lon"), (("1", "2, x", "3"),))
    swallowed = text.sheet('lat,lon,n\n1, "2", "a\n3, "4, x", c\n5,6,d\n', "UTF-8", 0, ",")
    assert [row[1] for row in swallowed.rows] == ["2", "4, x", "6"]
    assert text.decode(b"lat,lon\0,time and much more text") == ("lat,lon\0,time and much more text", "UTF-8")


def test_a_quote_that_is_never_closed_swallows_no_rows() -> None:
    closed = text.sheet('lat,lon,n\n1,2,"a\nb"\n3,4,c\n', "UTF-8", 0, ",")
    assert [row[0] for row in closed.rows] == ["1", "3"]
    open_ = text.sheet('lat,lon,n\n1,2,"a\n3,4,c\n5,6,d\n', "UTF-8", 0, ",")
    assert [row[0] for row in open_.rows] == ["1", "3", "5"]


def test_rows_with_more_cells_than_headings_are_refused_where_they_are_most() -> None:
    half = "lat,lon\n1,2,3\n1,2,3\n1,2\n1,2, ,\n"
    assert read(half).points == 4
    error = refused("lat,lon\n51,2,-3,6\n1,2\n51,3,-3,7\n")
    assert error.reason == "ragged_rows"
    assert str(error) == (
        "ride.csv: found more cells than the 2 headings in 2 of 3 rows; expected one cell for each heading; decimal commas "
        "need another separator than the comma"
    )
    assert refused("lat,lon\n").reason == "no_rows"


def test_only_a_last_row_that_is_short_and_ends_in_its_line_is_cut_off() -> None:
    for end, cut in (("51.3,-3", True), ("51.3,-3\n", False), ("51.3,-3,1", False)):
        found = read(f"lat,lon,ele\n51.2,-3.6,1\n{end}")
        assert found.truncated is cut
        assert found.problem.tolist() == ["", "truncated_element" if cut else ""]


def test_what_looks_like_a_table() -> None:
    assert reader.looks_like(b"x,y\n", "a.TSV")
    assert not reader.looks_like(b" {lat,lon\n", "a.csv")
    assert not reader.looks_like(b"<lat,lon\n", "a.csv")
    assert not reader.looks_like(b"x,y\n", "a.txt")


# times


@pytest.mark.parametrize(
    ("cell", "utc"),
    [
        ("2024-05-14 7:05", "2024-05-14T07:05:00.000"), ("14.5.2024 07.05.09", "2024-05-14T07:05:09.000"),
        ("14/5/79 7:05", "2079-05-14T07:05:00.000"), ("14/5/80 7:05", "1980-05-14T07:05:00.000"),
        ("Tue, 14 Mai 2024, 7h05m09s", "2024-05-14T07:05:09.000"), ("14 août 2024 7:05", "2024-08-14T07:05:00.000"),
        ("14 Dez. 2024 7:05", "2024-12-14T07:05:00.000"), ("14 giugno 2024 7:05", "2024-06-14T07:05:00.000"),
        ("14 März 2024 7:05", "2024-03-14T07:05:00.000"), ("December 14 2024 7:05", "2024-12-14T07:05:00.000"),
        ("2024-05-14 7:05:09:250", "2024-05-14T07:05:09.250"), ("2024-05-14 12:05 a.m.", "2024-05-14T00:05:00.000"),
        ("2024-05-14 11:05 pm", "2024-05-14T23:05:00.000"), ("2024-05-14 7:05 UTC+2", "2024-05-14T05:05:00.000"),
        ("2024-05-14 7:05 -0330", "2024-05-14T10:35:00.000"), ("2024-05-14 7:05 GMT", "2024-05-14T07:05:00.000"),
        ("20240514 070509.5", "2024-05-14T07:05:09.500"), ("2024-05-14 23:59:60", "2024-05-15T00:00:00.000"),
        ("2024-02-29 7:05", "2024-02-29T07:05:00.000"), ("31/12/2024 7:05", "2024-12-31T07:05:00.000"),
        ("31/1/24 7:05", "2024-01-31T07:05:00.000"),
    ],
)  # fmt: skip
def test_moments_as_tables_spell_them(cell: str, utc: str) -> None:
    assert one(cell) == utc


#: The months in English, German, French, Spanish, Italian and Dutch, as any dictionary has them.
MONTHS = """
January February March April May June July August September October November December
Januar Februar März April Mai Juni Juli August September Oktober November Dezember
janvier février mars avril mai juin juillet août septembre octobre novembre décembre
enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre
gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre
januari februari maart april mei juni juli augustus september oktober november december
"""


@pytest.mark.parametrize("names", MONTHS.strip().splitlines())
def test_each_month_in_six_languages(names: str) -> None:
    found = [one(f"14 {name} 2024 7:05") for name in names.split()]
    assert found == [f"2024-{month:02d}-14T07:05:00.000" for month in range(1, 13)]


@pytest.mark.parametrize(
    "cell",
    ["2024-05-14 24:00", "2024-05-14 7:60", "2024-05-14 7:05:61", "2023-02-29 7:05", "2024-13-01 7:05", "2024-00-10 7:05",
     "31/4/2024 7:05", "32/1/2024 7:05", "14 Foo 2024 7:05", "1899-12-31 7:05", "2200-01-01 7:05", "2024-05-00 7:05"],
)  # fmt: skip
def test_moments_that_are_none(cell: str) -> None:
    assert one(cell) == "NaT"
    found = read(f"time;lat;lon\n2024-05-14 7:05;51;3\n{cell};51.2;-3.6\n")
    assert found.counts["times_unread"] == 1
    assert f"1 times cannot be read, the first in row 2: {cell}" in found.notes


@pytest.mark.parametrize(
    ("number", "time", "unit"),
    [
        ("99999999", "1973-03-03T09:46:39.000", None), ("100000000", "1973-03-03T09:46:40.000", "seconds"),
        ("1715670600", "2024-05-14T07:10:00.000", "seconds"), ("1715670600250", "2024-05-14T07:10:00.250", "milliseconds"),
        ("1715670600250000", "2024-05-14T07:10:00.250", "microseconds"),
        ("1715670600250000000", "2024-05-14T07:10:00.250", "nanoseconds"), ("7258118399", "2199-12-31T23:59:59.000", "seconds"),
        ("7258118400", "NaT", "seconds"),
    ],
)  # fmt: skip
def test_numbers_are_units_since_1970(number: str, time: str, unit: str | None) -> None:
    """1715670600 is the standard library's datetime(2024, 5, 14, 7, 10, tzinfo=UTC).timestamp(); 1e8 s was in 1973."""
    found = read(f"time,lat,lon\n{number}{PLACE}")
    assert str(found.time[0]) == time
    assert found.date_known is (unit is not None)
    said = f"{unit} since 1970" if unit else "seconds from some start: the day is unknown"
    assert f"times are numbers, taken as {said}" in found.notes


def test_days_of_a_spreadsheet() -> None:
    """ECMA-376 part 1, 18.17.4: 45426 is 2024-05-14; a day and a quarter of one are 6 hours."""
    rows = "".join(f"{45426.25 + k / 86400:.9f}{PLACE}" for k in range(3))
    found = read("time,lat,lon\n" + rows)
    assert [str(t)[:19] for t in found.time] == [f"2024-05-14T06:00:0{k}" for k in range(3)]
    assert found.notes[0] == "times are numbers, taken as days of a spreadsheet, since 1899-12-30"
    for values, days in (
        ([29_221.0, 29_221.001], True), ([29_220.9995, 29_221.0005], False), ([73_050.0, 73_050.001], True),
        ([73_050.9995, 73_051.0], False),
        ([45_000.0], False), ([45_000.0, 45_000.0], False), ([45_000.0, 45_000 + 179 / 86_400], True),
        ([45_000.0, 45_000 + 181 / 86_400], False), ([45_000.0, np.nan, 45_000.001], True),
    ):  # fmt: skip
        assert times._are_days(np.array(values)) is days, values


def test_which_of_day_and_month_comes_first() -> None:
    def notes(*cells: str, order: str | None = None) -> tuple[list[str], list[str], bool]:
        options = {} if order is None else {"date_order": order}
        found = read("time,lat,lon\n" + "".join(f"{cell} 07:00Z{PLACE}" for cell in cells), **options)
        return [str(t)[:10] for t in found.time], list(found.notes), found.date_known

    assert notes("13/05/2024", "04/05/2024") == (
        ["2024-05-13", "2024-05-04"],
        ["dates are day first: 13 is no month"],
        True,
    )
    assert notes("05/31/2024", "05/04/2024") == (
        ["2024-05-31", "2024-05-04"],
        ["dates are month first: 31 is no month"],
        True,
    )
    assert notes("03.05.2024") == (["2024-05-03"], ["dates are day first, as is usual with full stops"], True)
    assert notes("05/05/2024") == (["2024-05-05"], [], True)
    assert notes("05/05/2024", "some day") == (
        ["2024-05-05", "NaT"], ["1 times cannot be read, the first in row 2: some day 07:00Z"], True,
    )  # fmt: skip
    assert notes("05/14/2024", "noon")[0] == ["2024-05-14", "NaT"]
    for other in ("noon", ""):
        assert "the dates may begin on 2024-05-03 or 2024-03-05" in " ".join(notes("03/05/2024", other)[1])
    assert notes("3 May 2024", "04 Jun 2024")[0] == ["2024-05-03", "2024-06-04"]
    assert notes("01/05/2024", "02/05/2024") == (
        ["2024-05-01", "2024-05-02"],
        ["dates are day first: days follow on"],
        True,
    )
    assert notes("05/01/2024", "05/02/2024") == (
        ["2024-05-01", "2024-05-02"],
        ["dates are month first: days follow on"],
        True,
    )
    days, (said,), known = notes("03/05/2024")
    assert (days, known) == (["2024-05-03"], False)
    assert said == (
        "the dates may begin on 2024-05-03 or 2024-03-05 (day or month first): say which; durations hold either way"
    )
    assert notes("03/05/2024", order="mdy") == (["2024-03-05"], [], True)
    assert notes("03/05/2024", order="dmy") == (["2024-05-03"], [], True)
    assert notes("13/05/2024", "05/14/2024", "15/05/2024")[0] == ["2024-05-13", "NaT", "2024-05-15"]
    with pytest.raises(InputError, match="expected one of dmy, mdy, ymd"):
        notes("03/05/2024", order="x")
    assert notes("79-05-14", order="ymd")[0] == ["2079-05-14"]
    assert notes("80-05-14", order="ymd")[0] == ["1980-05-14"]


def test_rows_of_another_form_than_the_year_first_are_unknown() -> None:
    found = read(
        "time,lat,lon\n" + "".join(f"{day} 07:00Z{PLACE}" for day in ("2024-05-14", "14/5/24", "14/5/2024", "99-05-14"))
    )
    assert [str(t)[:10] for t in found.time] == ["2024-05-14", "NaT", "NaT", "1999-05-14"]
    assert "2 times cannot be read, the first in row 2: 14/5/24 07:00Z" in found.notes


def test_times_of_day_run_on() -> None:
    found = read(f"time,lat,lon\n23:59:58{PLACE}11:59:59{PLACE}11:59:58{PLACE}x{PLACE}00:00:01{PLACE}")
    seconds = [(t - found.time[0]) / np.timedelta64(1, "s") for t in found.time]
    assert seconds == pytest.approx([0, -43_199, -43_200, np.nan, -86_397], nan_ok=True)
    assert found.notes[:2] == (
        "no date with the times: the day is unknown, durations hold", "1 times cannot be read, the first in row 4: x",
    )  # fmt: skip
    over = read(f"time,lat,lon\n23:59:58{PLACE}11:59:57{PLACE}")
    assert (over.time[1] - over.time[0]) / np.timedelta64(1, "s") == 43_199


def test_a_missing_clock_is_midnight_where_most_rows_have_one() -> None:
    rows = ["2024-05-14 23:59:59", "2024-05-15", "2024-05-15 00:00:01"]
    found = read("time,lat,lon\n" + "".join(f"{row}{PLACE}" for row in rows))
    assert str(found.time[1]) == "2024-05-15T00:00:00.000"
    even = read(f"time,lat,lon\n2024-05-14 23:59:59{PLACE}2024-05-15{PLACE}")
    assert np.isnat(even.time).tolist() == [False, True]


@pytest.mark.parametrize(
    ("heading", "utc"),
    [
        ("time", "07:10"),
        ("time (UTC)", "07:10"),
        ("time UTC+2", "05:10"),
        ("GMT-03:30 time", "10:40"),
        ("time_UTC+2", "05:10"),
        ("time (utc-1)", "08:10"),
        ("Time gmt+1", "06:10"),
        ("time Z", "07:10"),
    ],
)
def test_a_zone_in_the_heading_counts_for_all_rows_without_one(heading: str, utc: str) -> None:
    found = read(f"{heading},lat,lon\n2024-05-14 07:10{PLACE}2024-05-14 07:10Z{PLACE}")
    assert [str(t)[11:16] for t in found.time] == [utc, "07:10"]
    assert ("zone_assumed_utc" in found.counts) is (heading == "time")
    assert (found.notes == ("1 times without a zone are taken as UTC",)) is (heading == "time")


@pytest.mark.parametrize(("back_s", "told"), [(1199, False), (1200, True), (3600, True), (3601, False)])
def test_local_times_that_step_back_like_a_clock_for_winter_are_not_used(back_s: int, told: bool) -> None:
    base = np.datetime64("2024-10-27T03:00:00", "s")
    moments = [base, base + 1, base + 1 - back_s, base + 2 - back_s]
    found = read("time,lat,lon\n" + "".join(f"{t}{PLACE}".replace("T", " ") for t in moments))
    assert np.isnat(found.time).all() == told
    if told:
        assert found.counts == {"step_back_row": 3, "step_back_s": back_s}
        assert found.notes == (
            f"times step back {back_s} s at row 3: local times over a clock change? Name the time zone; until then the "
            "times are not used and the duration is unknown",
        )
    else:
        assert found.counts == {"zone_assumed_utc": 4}


def test_an_hour_that_comes_twice_and_holds_all_times_stays_open() -> None:
    """Clocks in London went back at 01:00 UTC on 27 October 2024 (tz database)."""
    found = read(f"time,lat,lon\n2024-10-27 01:10{PLACE}2024-10-27 01:20{PLACE}", time_zone="Europe/London")
    assert [str(t)[11:16] for t in found.time] == ["00:10", "00:20"]
    assert found.notes == ("all times lie in the hour that comes twice when clocks go back: the first one is taken",)
    after = read(f"time,lat,lon\n2024-10-27 01:50{PLACE}2024-10-27 02:00{PLACE}", time_zone="Europe/London")
    assert [str(t)[11:16] for t in after.time] == ["01:50", "02:00"]
    assert after.notes == ()
    local = np.array(
        ["2024-10-27T00:59", "2024-10-27T01:30", "2024-10-27T01:10", "2024-10-27T01:20"], "datetime64[ms]"
    ).astype(float)
    offsets, open_ = zones.offsets_s(local, zones.named_zone("Europe/London"))
    assert (offsets.tolist(), open_) == ([3600.0, 3600.0, 0.0, 0.0], False)


def test_the_order_of_rows_tells_which_of_two_hours_is_meant() -> None:
    """Clocks in London went back at 01:00 UTC on 27 October 2024 (tz database)."""
    london = zones.named_zone("Europe/London")

    def hours(*clocks: str) -> list[float]:
        local = np.array([f"2024-10-27T{clock}" for clock in clocks], "datetime64[ms]").astype(float)
        return [offset / 3600 for offset in zones.offsets_s(local, london)[0]]

    assert hours("01:50", "01:10") == [1, 0]
    assert hours("01:10", "01:15", "01:50", "01:40") == [1, 1, 1, 0]
    assert hours("01:40", "01:45", "01:50", "01:20", "01:55") == [1, 1, 1, 0, 0]
    assert hours("01:50", "01:50", "01:51") == [1, 1, 1]  # two rows of one second
    assert hours("00:30", "01:40", "01:41", "01:42", "01:43") == [1, 1, 1, 1, 1]
    summer = read(f"time,lat,lon\n2024-07-01 12:00{PLACE}2024-07-01 12:01{PLACE}", time_zone="Europe/London")
    assert (str(summer.time[0])[11:16], summer.notes) == ("11:00", ())
    for name in ("Europe", "/etc/localtime", "x/y", ""):
        with pytest.raises(InputError, match="an IANA name such as Europe/London"):
            zones.named_zone(name)


def test_date_and_clock_in_two_columns_are_joined_where_the_time_has_no_date() -> None:
    assert [str(t)[:16] for t in read("date,time,lat,lon\n14.5.2024,7:05,51,3\n14.5.2024,,51,3\n").time] == [
        "2024-05-14T07:05", "NaT",
    ]  # fmt: skip
    assert reader._time_only(["", "7h05", "x"])
    assert reader._time_only(["070509.5"])
    assert not reader._time_only(["", ""])
    assert not reader._time_only(["2024-05-14 7:05"])
    assert str(read("date,lat,lon\n2024-05-14 07:05Z,51,3\n").time[0])[:16] == "2024-05-14T07:05"


# numbers


def test_numbers_one_by_one_and_all_at_once_are_the_same() -> None:
    texts = [
        "51.5",
        "+1",
        "-2.",
        ".5",
        "1e2",
        "1_0",
        "51,5",
        "1,2,3",
        "1.2,3",
        " 4 ",
        "−5",
        "nan",
        "-Infinity",
        "",
        None,
        "x",
    ]
    found = parse_numbers(texts)
    assert found.value.tolist() == pytest.approx(
        [51.5, 1, -2, 0.5, 100, np.nan, 51.5, np.nan, np.nan, 4, -5, *[np.nan] * 5], nan_ok=True
    )
    bad = "unparseable_coordinate"
    assert found.problem.tolist() == [
        "", "", "", "", "", bad, "", bad, bad, "", "", "not_finite", "not_finite", "no_position", "no_position", bad,
    ]  # fmt: skip
    assert found.commas == 1
    assert parse_numbers(["1.5", "2"]).problem.tolist() == ["", ""]
    assert parse_numbers(["1_0", "2"]).problem.tolist() == [bad, ""]
    assert (parse_numbers([]).value.shape, parse_numbers(["1,5", "2,5"]).commas, parse_numbers(["1"]).commas) == (
        (0,),
        2,
        0,
    )
    assert parse_numbers(["1e400", "2"]).problem.tolist() == ["not_finite", ""]


def test_a_cell_without_end_is_told_in_one_line() -> None:
    """A quote that is never closed takes in all that follows, and a cell of more than 131,072 letters is none (Python, csv)."""
    rows = "51.1,-3.1,\n" * 20_000
    with pytest.raises(UnreadableFile, match=r"a table that breaks off \(field larger than field limit \(131072\)\)"):
        read(f'lat,lon,note\n51,-3,"{rows}')
