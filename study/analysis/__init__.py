"""Numbers in, estimates out: no database, no clock, no drawing."""
