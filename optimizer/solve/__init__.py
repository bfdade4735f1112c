"""The program, its solver, and the answers it gives."""
