"""Degrees to metres and back: a local plane per route, geodesics, and earth-centred positions.

The only importer of pyproj. Longitude comes before latitude everywhere (``always_xy``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from gpsq.arrays import norms
from gpsq.exceptions import GeometryError

if TYPE_CHECKING:
    from pyproj import Geod, Transformer

    from gpsq.arrays import FloatArray

#: Beyond this half-width a transverse Mercator plane with k = 1 is off by more than 1e-5 (x² / 2R²); the azimuthal
#: equidistant plane, slower to compute, stays within it to 49 km (r² / 6R²). Snyder, USGS PP 1395, chapters 8 and 25.
TRANSVERSE_MERCATOR_REACH_M = 25_000.0

#: A chord this long is shorter than its arc by c³ / 24R² = 1e-6 m.
CHORD_M = 1_000.0
#: WGS 84, NIMA TR8350.2.
EARTH_RADIUS_M = 6_378_137.0
ECCENTRICITY_SQUARED = 0.0066943799901413165
#: (2a + b) / 3 of WGS 84.
MEAN_RADIUS_M = 6_371_008.771_415_06


@lru_cache(maxsize=1)
def _geod() -> Geod:
    from pyproj import Geod

    return Geod(ellps="WGS84")


@dataclass(frozen=True)
class Plane:
    """A plane in metres (x east, y north) that touches the WGS 84 ellipsoid at its centre.

    Attributes
    ----------
    lon_deg, lat_deg : float
        The centre.
    projection : str
        ``tmerc`` (transverse Mercator, k = 1) or ``aeqd`` (azimuthal equidistant), for wide routes.

    Examples
    --------
    >>> plane = Plane(180.0, 70.0)
    >>> plane.to_metres([179.999, -179.999], [70.0, 70.0]).round(1).tolist()
    [[-38.2, 0.0], [38.2, 0.0]]
    """

    lon_deg: float
    lat_deg: float
    projection: str = "tmerc"

    @classmethod
    def centred_on(cls, lon_deg: FloatArray, lat_deg: FloatArray) -> Plane:
        """Return the plane centred on positions, valid across the antimeridian and near the poles.

        Parameters
        ----------
        lon_deg, lat_deg : (n,) array
            Positions in degrees; n ≥ 1.

        Raises
        ------
        GeometryError
            When there is no position.
        """
        if len(lon_deg) == 0:
            raise GeometryError("a plane needs at least one position")
        xyz = to_earth_centred(lon_deg, lat_deg)
        middle = (xyz.min(axis=0) + xyz.max(axis=0)) / 2
        lon, lat = _above(middle)
        reach_m = float(norms(xyz - middle).max())
        return cls(lon, lat, "tmerc" if reach_m <= TRANSVERSE_MERCATOR_REACH_M else "aeqd")

    @cached_property
    def _transformer(self) -> Transformer:
        from pyproj import Transformer

        centre = f"+lat_0={float(self.lat_deg)!r} +lon_0={float(self.lon_deg)!r}"
        plane = f"+proj={self.projection} {centre} +ellps=WGS84 +units=m"
        pipeline = f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {plane}"
        return Transformer.from_pipeline(pipeline)

    def __getstate__(self) -> dict[str, float | str]:
        """Leave the transformer behind on the way to another process."""
        return {"lon_deg": self.lon_deg, "lat_deg": self.lat_deg, "projection": self.projection}

    def to_metres(self, lon_deg: FloatArray, lat_deg: FloatArray) -> FloatArray:
        """Return (n, 2) metres east and north of the centre for (n,) degrees."""
        x, y = self._transformer.transform(np.asarray(lon_deg, float), np.asarray(lat_deg, float))
        return np.column_stack([x, y])

    def to_degrees(self, xy_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (n,) longitude in [-180, 180) and (n,) latitude of (n, 2) metres."""
        xy = np.asarray(xy_m, float).reshape(-1, 2)
        lon, lat = self._transformer.transform(xy[:, 0], xy[:, 1], direction="INVERSE")
        return (np.asarray(lon) + 180.0) % 360.0 - 180.0, np.asarray(lat)


def to_earth_centred(lon_deg: FloatArray, lat_deg: FloatArray) -> FloatArray:
    """Return (n, 3) metres, earth-centred and earth-fixed, on the ellipsoid (height 0).

    Straight lines between neighbours differ from geodesics by less than 1e-8 of their length under a kilometre, so
    positions anywhere on earth, poles and antimeridian too, can be compared without a projection.
    IOGP Guidance Note 7-2, geographic/geocentric conversions.

    Examples
    --------
    >>> to_earth_centred([0.0], [0.0]).tolist()
    [[6378137.0, 0.0, 0.0]]
    """
    lon, lat = np.radians(np.asarray(lon_deg, float)), np.radians(np.asarray(lat_deg, float))
    sin_lat = np.sin(lat)
    normal = EARTH_RADIUS_M / np.sqrt(1.0 - ECCENTRICITY_SQUARED * sin_lat**2)
    from_axis = normal * np.cos(lat)
    return np.column_stack(
        [from_axis * np.cos(lon), from_axis * np.sin(lon), normal * (1.0 - ECCENTRICITY_SQUARED) * sin_lat]
    )


def _above(xyz: FloatArray) -> tuple[float, float]:
    """Longitude and latitude of the surface near an earth-centred place; exact on the surface, near enough below it."""
    x, y, z = (float(v) for v in xyz)
    return float(np.degrees(np.arctan2(y, x))), float(
        np.degrees(np.arctan2(z, (1.0 - ECCENTRICITY_SQUARED) * np.hypot(x, y)))
    )


def geodesic_legs_m(lon_deg: FloatArray, lat_deg: FloatArray) -> FloatArray:
    """Return the (n − 1,) geodesic distances in metres between consecutive positions on WGS 84 (Karney 2013).

    Under `CHORD_M` the straight line between two positions stands for it, a thousandth of a millimetre shorter at most.

    Examples
    --------
    >>> geodesic_legs_m([0.0, 1.0], [0.0, 0.0]).round(3).tolist()
    [111319.491]
    """
    lon, lat = np.asarray(lon_deg, float), np.asarray(lat_deg, float)
    legs = norms(np.diff(to_earth_centred(lon, lat), axis=0))
    far = np.flatnonzero(legs > CHORD_M)
    legs[far] = geodesic_inverse_m(lon[far], lat[far], lon[far + 1], lat[far + 1])
    return legs


def geodesic_inverse_m(
    from_lon_deg: FloatArray, from_lat_deg: FloatArray, to_lon_deg: FloatArray, to_lat_deg: FloatArray
) -> FloatArray:
    """Return the (n,) geodesic distances in metres between pairs of positions on WGS 84 (Karney 2013)."""
    return np.asarray(_geod().inv(from_lon_deg, from_lat_deg, to_lon_deg, to_lat_deg)[2], dtype=float)


def great_circle_track_m(
    from_lon_lat_deg: tuple[float, float],
    to_lon_lat_deg: tuple[float, float],
    lon_deg: FloatArray,
    lat_deg: FloatArray,
    radius_m: float = MEAN_RADIUS_M,
) -> tuple[FloatArray, FloatArray]:
    """Return how far along a great circle positions lie, and how far off it: cross-track distance on a sphere.

    For lines too long for one plane. On a sphere instead of the ellipsoid, so off by up to 0.6 %; the errors of tracks
    are measured in a `Plane`.

    Parameters
    ----------
    from_lon_lat_deg, to_lon_lat_deg : two places on the great circle, in the direction of travel.
    lon_deg, lat_deg : (n,) positions.
    radius_m : radius of the sphere; the mean radius of the earth unless given.

    Returns
    -------
    along_m : (n,) distance from the first place to the point abreast, negative behind it.
    offset_m : (n,) distance from the great circle, + to the left of travel.

    References
    ----------
    E. Williams, *Aviation Formulary* V1.46, "Cross track error" (there + to the right).

    Examples
    --------
    >>> along, offset = great_circle_track_m((0.0, 0.0), (90.0, 0.0), [10.0], [1.0], radius_m=180 / np.pi)
    >>> along.round(9).tolist(), offset.round(9).tolist()
    ([10.0], [1.0])
    """
    start, end = _unit_sphere(*np.transpose([from_lon_lat_deg, to_lon_lat_deg]))
    left = np.cross(start, end)
    left /= np.sqrt(left @ left)
    at = _unit_sphere(lon_deg, lat_deg)
    along = np.arctan2(at @ np.cross(left, start), at @ start)
    return radius_m * along, radius_m * np.arcsin(np.clip(at @ left, -1.0, 1.0))


def _unit_sphere(lon_deg: FloatArray, lat_deg: FloatArray) -> FloatArray:
    lon, lat = np.radians(np.asarray(lon_deg, float)), np.radians(np.asarray(lat_deg, float))
    return np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
