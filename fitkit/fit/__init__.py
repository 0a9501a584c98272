"""One question about a wearer in a piece, one file."""
