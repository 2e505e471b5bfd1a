"""From what runs have gathered to odds, limits, volumes and files."""

# What export.py can write. Here for those who need no more than that before a run.
RESULT = "results.nc"
RESULT_FILES = (
    RESULT, "summary.csv", "daily-odds.csv", "play.csv", "feeding.csv", "site.csv", "doubt.csv",
)  # fmt: skip
SEASON_FILES = (RESULT, "outlook.csv", "season-water.csv")
SUPPLY_FILES = (RESULT, "supply.csv", "tradeoff.csv")
