"""Playable and safe: hardness, wetness, wear, disease nights, calendars of use, infields."""
