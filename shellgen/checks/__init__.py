"""Checks on the finished solids: each a pure function of the mold, independent of the way it was built."""
