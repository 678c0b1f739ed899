"""Limits of forecasts."""

MAX_CLUTCH_SIZE = 300
MAX_WANTED = 50
MAX_LOOKS = 2000
DEFAULT_LOOKS = 200
LEVELS = (50, 90, 95, 99)
"""Per cent at which the hatchlings needed are given."""
