"""Studies of doubt: the linear interval against a sample, the floors against full solves."""
