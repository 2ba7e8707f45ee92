"""The recipe of a piece, and the kernels that make solids of it."""
