"""Work that is killed midway and begun again: what it leaves must be what undisturbed work leaves."""
