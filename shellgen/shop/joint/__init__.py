"""The bolted joint of two flanges: preload, loads, opening, pitch, hardware. Pure functions; N, mm, MPa."""
