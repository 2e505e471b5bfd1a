"""A weather file: its columns, its table, its blanks, its faults."""
