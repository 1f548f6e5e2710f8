"""How do readings come from a serial port on which a board writes lines of text?"""
