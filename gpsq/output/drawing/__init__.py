"""Lines and looks that charts, map and report share."""
