"""What does the keeper write down about a site, and is it right? One TOML file, read and written back here."""
