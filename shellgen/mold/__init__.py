"""From job and pattern to the recipe of every piece: jacket, shell, flange, bolts, keys, ports."""
