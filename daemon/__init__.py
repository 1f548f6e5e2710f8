"""How does it run day and night? Site file, store, loop, outbox, commands."""
