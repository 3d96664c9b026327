"""Are signs beside colour told where growth is held back or grain turns dark, and nowhere else?"""
