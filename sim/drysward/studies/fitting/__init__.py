"""A scenario's numbers from a person's own readings of the season."""
