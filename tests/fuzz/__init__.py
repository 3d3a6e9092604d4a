"""Files and command lines that nobody meant, made by chance and yet the same at every run."""
