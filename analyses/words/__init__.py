"""How numbers and results are written: numerals, flags, sentences. Below everything."""
