"""Which fixtures do the tests of the broker connection share?"""

from tests.brokers import broker

__all__ = ["broker"]
