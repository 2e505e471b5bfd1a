"""From what runs have gathered to odds, limits, volumes and files."""
