"""Every equation, once: scalar functions of numbers, one process a file."""
