"""Daily weather: reading, checking, filling, and reference evapotranspiration."""
