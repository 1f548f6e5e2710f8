"""How do readings come from the registers of Modbus devices, over a serial line (RTU) or TCP?"""
