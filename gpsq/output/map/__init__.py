"""The map, one page that needs no network."""
