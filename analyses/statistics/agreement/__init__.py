"""Agreement of two readers who judged the same units apart."""
