"""Turf science on daily arrays: growth, rooting, winter rest, heat, crown drying."""
