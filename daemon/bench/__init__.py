"""What does the keeper's bench need, where recorded days are tried with other settings?"""
