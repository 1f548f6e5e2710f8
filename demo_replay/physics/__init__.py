"""Which equations move the invented glasshouse? One file a part of nature, each equation with its source."""
