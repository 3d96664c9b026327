"""Files changed at random: pictures and tables that must be read or refused with a reason, never crash or hang."""
