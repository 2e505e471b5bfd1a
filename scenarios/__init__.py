"""Scenarios that ship with drysward."""
