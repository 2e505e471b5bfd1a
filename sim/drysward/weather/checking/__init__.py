"""Checks of a weather file for values that look wrong."""
