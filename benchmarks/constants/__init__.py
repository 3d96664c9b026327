"""Shifts each numeric constant of a package by 5 %, one at a time, and lists those that no test notices."""
