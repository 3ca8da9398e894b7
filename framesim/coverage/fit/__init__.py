"""Fit a channel with few states to flips that were drawn or recorded, and say how well it repeats their gaps."""
