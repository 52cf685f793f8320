"""What a heading means: words of several languages, and the unit in or behind them."""

from __future__ import annotations

import re
import unicodedata

from gpsq.campaign.start_table import LONGEST_HEADING

#: Headings by meaning, without accents, in lower case. The words are those of dictionaries and common exports.
_WORDS = {
    "lat": "lat latitude latitud latitudine breite breitengrad geographische_breite geogr_breite largeur"
    " breedtegraad breddegrad szerokosc leveysaste sirina широта 緯度 纬度",
    "lon": "lon long lng longitude longitud longitudine lange laenge langengrad laengengrad"
    " geographische_lange geogr_lange longueur lengtegraad lengdegrad laengdegrad dlugosc pituusaste duljina долгота"
    " 経度 经度",
    "time": "time timestamp datetime date_time time_date time_stamp clock clock_time zeit zeitstempel uhrzeit zeitpunkt"
    " datum_zeit datum_uhrzeit heure horodatage date_heure date_et_heure hora fecha_hora fecha_y_hora ora data_ora"
    " data_e_ora data_hora tijd tijdstip datum_tijd tid tidpunkt aika czas vreme время дата_время 時刻 時間 时间 epoch"
    " epoch_time unix unix_time unixtime seconds sekunden secondes segundos secondi utc utc_time",
    "date": "date datum fecha data jour dag dato paivays дата 日付 日期 utc_date",
    "ele": "ele elevation elev alt altitude height hohe hoehe hauteur altitud elevacion altura quota altitudine hoogte"
    " hojde hojd korkeus wysokosc visina высота 高度 標高 ele_m msl_altitude altitude_msl",
    "hdop": "hdop horizontal_dop horizontal_dilution horizontal_dilution_of_precision",
    "sat": "sat sats satellites satelliten satelites satelliti satellieten satelliter nsat nsats numsat numsats"
    " num_sats num_sat sat_used sats_used satellites_used number_of_satellites nombre_de_satellites"
    " anzahl_satelliten спутники",
    "speed": "speed spd velocity geschwindigkeit tempo vitesse velocidad velocita snelheid fart hastighet nopeus"
    " predkosc brzina скорость 速度 ground_speed speed_over_ground sog",
    "fix": "fix fix_type fixtype fix_mode fix_quality gps_fix fix_status quality gps_quality qualitat status valid",
}  # fmt: skip
_MEANING = {word: meaning for meaning, words in _WORDS.items() for word in words.split()}

#: Words that say nothing about which quantity it is.
_FILLING = {"gps", "gnss", "position", "pos", "deg", "degree", "degrees", "grad", "degre", "degres", "gradi", "grados",
            "dd", "wgs84", "wgs", "84", "decimal", "dezimal", "iso8601", "iso", "local", "utc", "gmt", "m", "meter",
            "meters", "metres", "metre", "ft", "feet", "kmh", "kph", "mph", "kn", "kt", "kts", "knots", "mps", "ms",
            "s", "sec", "north", "east", "n", "e", "z"}  # fmt: skip

_UNITS = {
    "speed": (
        (r"km\W?/?\W?h|kph|kmph", 1 / 3.6),
        (r"mph|mi\W?/\W?h", 0.44704),
        (r"\bkn\b|\bkts?\b|knot", 1852 / 3600),
    ),
    "ele": ((r"\bft\b|feet|foot", 0.3048),),
}


#: What stands in brackets, a unit with a sign in it, and how far a zone is from UTC.
_UNIT = re.compile(r"[(\[{][^)\]}]*[)\]}]|\bkm/h|\bm/s|(?<=UTC|GMT)\s?[+-]\d{1,2}(?::?\d\d)?", re.IGNORECASE)


def plain(heading: str) -> str:
    """Return a heading in lower case, without accents and signs, words joined by ``_``.

    Examples
    --------
    >>> plain("Höhe (m)"), plain("GPS Latitude [°]"), plain("fixTime")
    ('hohe_m', 'gps_latitude', 'fix_time')
    """
    spaced = re.sub(r"(?<=[a-zäöü])(?=[A-Z][a-z])", " ", heading.replace("ß", "ss").replace("ł", "l").replace("ø", "o"))
    bare = "".join(c for c in unicodedata.normalize("NFKD", spaced.casefold()) if not unicodedata.combining(c))
    return "_".join(re.findall(r"[^\W_]+", bare))


def meaning(heading: str) -> str:
    """Return lat, lon, time, date, ele, hdop, sat, speed, fix or "" for a heading.

    Examples
    --------
    >>> [meaning(h) for h in ("Breite", "Längengrad", "GPS time UTC+2", "Speed km/h", "Puls")]
    ['lat', 'lon', 'time', 'speed', '']
    """
    if len(heading) > LONGEST_HEADING:
        return ""
    words = plain(heading)
    if words in _MEANING:
        return _MEANING[words]
    unit_free = plain(_UNIT.sub(" ", heading))
    kept = "_".join(word for word in unit_free.split("_") if word not in _FILLING)
    return _MEANING.get(unit_free) or _MEANING.get(kept, "")


def meanings(headings: tuple[str, ...]) -> dict[str, int]:
    """Return the column of each meaning: the first that has it, but a time that says UTC before one that does not."""
    found: dict[str, int] = {}
    for place, heading in enumerate(headings):
        what = meaning(heading)
        better = what == "time" and "utc" in plain(heading) and "utc" not in plain(headings[found.get(what, place)])
        if what and (what not in found or better):
            found[what] = place
    return found


def factor(what: str, heading: str) -> float:
    """Return what a value must be multiplied by to be in metres or metres per second.

    Examples
    --------
    >>> factor("speed", "Speed [km/h]") * 36, factor("ele", "altitude (ft)"), factor("ele", "Höhe")
    (10.0, 0.3048, 1.0)
    """
    text = re.sub(r"_", " ", heading.casefold())
    return next((size for pattern, size in _UNITS.get(what, ()) if re.search(pattern, text)), 1.0)
