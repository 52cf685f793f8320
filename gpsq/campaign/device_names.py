"""The name of the device that made a recording."""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

UNKNOWN_DEVICE = "unknown device"

#: Names of weekdays and their usual abbreviations, accents left out (Unicode CLDR, written from memory).
_WEEKDAYS = (
    "mon tue tues wed thu thur thurs fri sat sun monday tuesday wednesday thursday friday saturday sunday "
    "mo di mi do fr sa so montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag "
    "lun mar mer jeu ven sam dim lundi mardi mercredi jeudi vendredi samedi dimanche "
    "lunes martes miercoles jueves viernes sabado domingo mie jue vie sab dom "
    "lunedi martedi mercoledi giovedi venerdi sabato domenica gio "
    "maandag dinsdag woensdag donderdag vrijdag zaterdag zondag ma wo vr za zo "
    "segunda terca quarta quinta sexta segunda-feira terca-feira quarta-feira quinta-feira sexta-feira feira "
    "poniedzialek wtorek sroda czwartek piatek sobota niedziela pon wt sr czw pt sob niedz "
    "pondeli utery streda ctvrtek patek nedele "
    "mandag tirsdag onsdag torsdag fredag lordag sondag tir ons tor fre lor "
    "mandag tisdag lordag sondag tis "
    "maanantai tiistai keskiviikko torstai perjantai lauantai sunnuntai "
)
_MONTHS = (
    "jan feb mar apr may jun jul aug sep sept oct nov dec january february march april june july "
    "august september october november december januar februar marz maerz mai juni juli oktober "
    "dezember okt dez mrz janvier fevrier mars avril juin juillet aout septembre octobre novembre "
    "decembre enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre "
    "diciembre gennaio febbraio aprile maggio giugno luglio settembre ottobre dicembre "
)
_WORDS = frozenset(f"{_WEEKDAYS} {_MONTHS}".split()) | {
    "week",
    "woche",
    "semaine",
    "semana",
    "settimana",
    "day",
    "tag",
    "jour",
    "kw",
    "w",
}


def is_date(folder: str) -> bool:
    """Whether a folder's name is a date or a weekday, in one of several languages, and so no device.

    Examples
    --------
    >>> [is_date(name) for name in ("2024-05-14", "Mardi", "Tue 14 May", "week 20", "watch-2", "handheld")]
    [True, True, True, True, False, False]
    """
    plain = unicodedata.normalize("NFKD", folder.lower())
    plain = "".join(c for c in plain if not unicodedata.combining(c)).replace("ł", "l").replace("ø", "o")
    words = [word for word in re.split(r"[\W_]+", plain) if word]
    return bool(words) and all(_is_calendar_word(word) for word in words)


def _is_calendar_word(word: str) -> bool:
    return bool(re.fullmatch(r"\d+|w\d\d?|kw\d\d?|\d{1,2}(st|nd|rd|th)|\d{8}t\d+z?", word)) or word in _WORDS


def folders_of(file: str) -> tuple[str, ...]:
    """Return the folders that a file lies in, below the campaign's; an archive is none.

    Examples
    --------
    >>> folders_of("park/week.zip/watch/mon.gpx")
    ('park', 'watch')
    """
    return tuple(part for part in file.split("/")[:-1] if not part.lower().endswith(".zip"))


def device_of(file: str, found: str, logged: str, renames: Mapping[str, str]) -> str:
    """Return the device's name: the start log's, else what folder or file tell; renamed last.

    Parameters
    ----------
    file : str
        Path below the campaign's folder; members of an archive stand below the archive's name.
    found : str
        As `gpsq.campaign.device_folders.found_devices` tells it.
    logged : str
        From ``rides.csv``, or "".
    renames : mapping
        ``[devices]`` of ``campaign.toml``: a file or a name found → the name wanted.

    Examples
    --------
    >>> device_of("watch/mon.gpx", "watch", "", {"watch": "Watch A"})
    'Watch A'
    """
    name = logged or found or UNKNOWN_DEVICE
    return renames.get(file) or renames.get(name) or name
