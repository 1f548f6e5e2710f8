"""How does a person answer from the phone that they have seen an alarm? By a signed link, or on a broker's topic."""
