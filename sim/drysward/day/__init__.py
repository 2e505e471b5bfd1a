"""The day step: scalar functions that numba compiles, and the loops around them."""
