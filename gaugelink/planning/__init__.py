"""What to do with a head: which part goes where, and what the work is."""
