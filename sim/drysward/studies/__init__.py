"""Runs that answer a question: every plan, a size, a sweep."""
