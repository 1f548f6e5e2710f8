"""What do the daemon's logs and readings amount to over a span of time?"""
