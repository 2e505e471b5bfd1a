"""Irrigation science: how evenly water lands, what is lost on the way, what a plan asks."""
