"""Weather files: columns, tables, blanks, faults."""
