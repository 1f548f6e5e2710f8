"""What would a slow, plain reading of the rules' meaning say? The naive twin that judges the engine."""

from tests.twin.twin import Twin

__all__ = ["Twin"]
