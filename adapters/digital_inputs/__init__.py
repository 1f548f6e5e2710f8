"""How do readings come from switches, relays and pulse meters on the lines of a board?

Not tried on a real line yet: the kernel's GPIO character device has a stand-in in the tests.
"""
