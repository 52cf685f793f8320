"""Lines in a plane: arc length, order of travel, distances of curves, and which lines may share a way."""
