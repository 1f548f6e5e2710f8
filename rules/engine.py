"""What follows from readings, acts and the passing of time? One pure step: `step(blocks, acts, now) -> events`."""
