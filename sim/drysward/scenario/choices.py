"""Words that a scenario chooses from, for those who need no scenario to read a result."""

RECORD, GENERATOR, RESAMPLE = SOURCES = ("record", "generator", "resample")
"""Where weather comes from."""
ANEW_EACH_YEAR, CONTINUOUS = TURF_YEARS = ("established each year", "continuous")
"""How the turf begins a year."""
ANY_FIELD = "any"
"""In place of the field of a sizing: whichever field of turf has the outcome."""
