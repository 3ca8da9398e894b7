"""Compiled twins of hot loops. They take arrays and numbers only; nothing else imports numba."""
