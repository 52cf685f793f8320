"""Intervals, survival, resampling and power: numbers that know nothing of GPS."""
