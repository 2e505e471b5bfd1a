"""What a scenario is to the day loop: records of ground, weather, plans, supply and play."""
