"""Randomly changed pictures and tables: each must be read or refused with a reason, and never crash or hang."""
