"""Soil physics: texture, pedotransfer, retention, curve number, profiles."""
