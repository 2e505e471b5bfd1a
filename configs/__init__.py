"""Parameter files: species, soils, root zones, delivery systems, sources and vocabulary."""
