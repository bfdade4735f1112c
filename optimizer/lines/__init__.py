"""Lines between parts: where they may run, and what tubes, hoses, cables and wires do."""
