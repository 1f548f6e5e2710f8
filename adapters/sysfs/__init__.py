"""How do readings come from sensors that the Linux kernel shows as text files under /sys?"""
