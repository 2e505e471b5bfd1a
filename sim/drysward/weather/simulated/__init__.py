"""Simulated weather years: climate models, a generator, resampling."""
