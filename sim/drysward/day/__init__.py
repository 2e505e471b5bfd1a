"""The day step: plain scalar functions that numba compiles, and the loops around them."""
