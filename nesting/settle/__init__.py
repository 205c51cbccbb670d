"""Where a plate lies on the table: from readouts of its corners to turn, shift, and what may be trusted of them."""
