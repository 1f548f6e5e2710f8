"""Which errors does the project raise on purpose? One family, so that a caller can catch them by name."""


class TidebedError(Exception):
    """Base of every error that Tidebed raises on purpose; its text says what, where and how to mend it."""


class UnitError(TidebedError, ValueError):
    """A unit is not known, or does not fit the quantity it is used for."""


class ValueRefused(TidebedError, ValueError):
    """A value is no finite number or lies outside what can be stored."""


class SettingError(TidebedError, ValueError):
    """A setting of a rule, point, stage or person does not make sense."""
