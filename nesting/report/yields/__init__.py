"""The yield of several cuts: of a job, a batch, or a month of the rack's history."""
