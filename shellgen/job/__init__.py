"""What the user asks for: job file, its keys, its checks, defaults from the size, a starter file."""
