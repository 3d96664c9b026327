"""How well the day of "colonised through" is told at about half way, from photos alone."""
