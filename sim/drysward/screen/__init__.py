"""What a person reads at a terminal: tables at most 100 columns wide. Nothing is computed here."""
