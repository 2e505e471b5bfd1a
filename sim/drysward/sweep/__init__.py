"""Many scenarios that differ in a few keys, run in chunks that survive the machine."""
