"""Weather years that were never recorded: a climate, a generator, resampling."""
