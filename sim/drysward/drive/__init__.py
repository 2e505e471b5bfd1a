"""Taking plans through the days: lanes, threads, and what runs gather."""
