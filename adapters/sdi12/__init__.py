"""How do readings come from probes on an SDI-12 bus (version 1.4, January 2019)?"""
