"""A scenario as records for the day loop: soil, weather, plans, supply and play."""
