"""What does a new user see first? A recorded day that the real daemon watches, with its alerts on a phone."""
