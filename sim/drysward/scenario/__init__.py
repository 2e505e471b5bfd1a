"""Scenario files: from TOML to a checked model with every quantity in base units."""
