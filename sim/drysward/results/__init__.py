"""From what runs have gathered to odds, limits, volumes and files."""

# What export.py can write. Here for those who ask for no more than that before a run.
RESULT_FILES = (
    "results.nc", "summary.csv", "daily-odds.csv", "play.csv", "site.csv", "doubt.csv",
)  # fmt: skip
SUPPLY_FILES = ("results.nc", "supply.csv", "tradeoff.csv")
