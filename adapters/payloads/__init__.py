"""How do the bytes of one message become readings? Pure decoders, without a socket or a clock."""
