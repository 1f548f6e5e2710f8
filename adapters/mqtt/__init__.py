"""How do readings come from a message broker, and how are things published there? MQTT 5, else 3.1.1."""
