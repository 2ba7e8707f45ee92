"""Workshop questions answered with numbers: joints, coupons."""
