"""The independent check: what is laid or written, measured anew; shares nothing with the search."""
