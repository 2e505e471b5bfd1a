"""Where a site's water comes from, what it is stored in, how far it reaches and what it costs."""
