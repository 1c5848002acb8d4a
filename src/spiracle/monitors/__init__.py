"""What monitors say, by open standards: codes, units, flags and times read into values of ours. Pure: bytes in, plain data out."""
