"""How does a recorded span look, drawn for a keeper? Greys for the ordinary, colour and shape for the abnormal."""
