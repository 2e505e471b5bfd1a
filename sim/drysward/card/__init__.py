"""The day loop on a graphics card: kernels made from the same source, and what drives them."""
