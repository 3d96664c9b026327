"""How much does another camera's colour move the readings, and how much of that does its profile take back?"""
