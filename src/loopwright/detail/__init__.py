"""What the sculpt has beyond the cage: creases that sharpen its limit surface, and levels that carry its detail."""
