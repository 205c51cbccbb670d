"""The cut sheet of one plate, and the labels of its parts."""
