"""What is not known of soil, grass and delivery: draws of uncertain numbers."""
