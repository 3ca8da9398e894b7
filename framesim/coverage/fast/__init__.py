"""Sampling at speed: the work of a campaign in units, judged by compiled receivers."""
