"""Which quantities follow from others by a formula of the trade?

`registry` lists them, `calc.calculate` works one out from text, `record.Derived.evaluate` for columns of readings.
The formulas themselves are in a file for each subject. Each computes what its equation says, outside its range too;
`calculate` refuses what is outside the range and `evaluate` marks it as not valid.
"""
