"""Can a reading be believed? The real-time tests of the QARTOD manuals (US IOOS), each in a file of its own.

Texts: US IOOS, Manual for Real-Time Quality Control of pH Data, v1.0 (2019), and those of temperature and salinity,
whose flags are those of UNESCO/IOC 2013: 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. Raw values are never
changed, and a flag is not rewritten later, but for the one reading of delay that the spike test needs.
"""
