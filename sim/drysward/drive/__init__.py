"""Runs of plans through the days: lanes, threads, results."""
