"""The commands of the command line. At its head each imports click only: help must come at once."""
