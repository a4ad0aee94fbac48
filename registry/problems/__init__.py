"""What is wrong, told so that a person can mend it."""
