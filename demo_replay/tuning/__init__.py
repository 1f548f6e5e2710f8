"""What would other settings of a rule have told? Sweeps over recordings, scores, and a choice."""
