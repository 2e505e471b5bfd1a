"""Every equation, once: scalar functions, one process a file, numbers in and numbers out."""
