"""Who caught what, how often nothing did, and how sure one can be of it."""
