"""Scenario files: TOML to a checked model with every quantity in base units."""
