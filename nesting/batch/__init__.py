"""A batch: many parts over many pieces of plate; which part is cut from which piece, and what has to be bought."""
