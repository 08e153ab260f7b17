"""The lattice: printed feed metal from the feed ring to every link."""
