"""Does the daemon itself still watch? What it measures of itself, who hears of it, and who restarts it."""
