"""How far a ranking may be trusted when what it rests on is uncertain."""
