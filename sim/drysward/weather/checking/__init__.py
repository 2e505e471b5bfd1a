"""What a weather file holds, and what in it looks wrong."""
