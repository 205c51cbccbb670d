"""Ways to get the outline of a plate in, one a module, each with one figure of how far it may be wrong."""
